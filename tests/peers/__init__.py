"""Peers made of libraries that nobody here wrote, each in a process of its own."""

from warmwatch.links import python_can as python_can  # before another library loads it
