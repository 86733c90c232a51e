"""What to ask whom, and what comes back: shared by every link that asks. No I/O."""
