"""The version, on the ground floor so that every room may read it."""

__version__ = "0.2.0"
