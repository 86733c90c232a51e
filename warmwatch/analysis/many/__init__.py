"""Many recordings at once: features, kept by digest."""
