"""The phone page: a small server on the laptop, and what it serves."""
