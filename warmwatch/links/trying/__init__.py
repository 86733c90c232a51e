"""Tries a link step by step, and searches for what no table names."""
