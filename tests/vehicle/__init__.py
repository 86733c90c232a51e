"""An independent test vehicle: written from the standards, sharing no code with warmwatch."""
