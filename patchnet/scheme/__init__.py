"""Schemes: which planters along a road help most, with a certificate of how good that is."""
