"""Patches, the links between them, and how well they hang together."""
