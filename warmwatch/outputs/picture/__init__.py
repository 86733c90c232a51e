"""Pictures of recordings."""
