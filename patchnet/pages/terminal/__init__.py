"""Answers as words for a terminal, and as JSON."""
