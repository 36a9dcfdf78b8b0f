"""Results as files for other programs."""
