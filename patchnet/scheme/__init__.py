"""Scheme room: which planters along a road win most, with a certificate."""
