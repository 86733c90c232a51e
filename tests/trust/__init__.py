"""Measures what docs/verify.md says about trust: `python -m tests.trust [PART ...]`."""
