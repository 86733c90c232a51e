"""`serial:` AT-command text adapters."""
