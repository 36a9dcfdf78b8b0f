"""A city: a map too large for one piece, worked out tile by tile and put together."""
