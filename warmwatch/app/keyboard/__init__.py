"""Marks from the terminal's keyboard."""
