"""Verifies recordings and signs them."""
