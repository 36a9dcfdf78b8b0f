"""patchnet: a neighbourhood read as one habitat."""
