"""The catalogue of texts: every text in patchnet.pot, a language in each other file."""
