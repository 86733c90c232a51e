"""Changes the program on purpose, one place at a time, to see whether a test notices."""
