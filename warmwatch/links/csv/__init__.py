"""A recording, or a CSV file written by something else."""

from warmwatch.links.csv.port import open_address

__all__ = ["open_address"]
