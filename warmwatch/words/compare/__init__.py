"""What a comparison of recordings says: sentences, tables and notes."""
