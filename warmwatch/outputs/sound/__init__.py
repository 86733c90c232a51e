"""Tones and speech, played by a guarded child process."""
