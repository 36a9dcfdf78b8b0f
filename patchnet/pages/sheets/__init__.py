"""Sheets to read and print: card, comparison, progress."""
