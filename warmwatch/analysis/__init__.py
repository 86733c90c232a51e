"""Reads many recordings: compares methods, learns from them, finds a temperature."""
