"""Tests of the shop's own knowledge."""
