"""patchnet: a neighbourhood of gardens, verges and planters read as one habitat."""
