"""Peers made of libraries that nobody here wrote, each in a process of its own."""
