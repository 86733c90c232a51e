"""The shop's own knowledge: vehicles, adapters and settings, in one file that ships empty."""
