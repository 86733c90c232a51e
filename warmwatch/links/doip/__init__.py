"""`doip:` a vehicle on Ethernet (ISO 13400)."""
