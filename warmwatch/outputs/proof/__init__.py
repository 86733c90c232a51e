"""The proof: a PDF made from a recording."""
