"""Statistics for comparing warm-ups."""
