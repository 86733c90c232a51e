"""Where time, threads and I/O meet: the session and what puts it together."""
