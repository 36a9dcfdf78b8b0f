"""The command line: thin, no science."""
