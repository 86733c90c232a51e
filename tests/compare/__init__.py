"""Tests of comparing warm-ups."""
