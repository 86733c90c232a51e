"""`can:` request and answer over ISO-TP on a CAN interface."""
