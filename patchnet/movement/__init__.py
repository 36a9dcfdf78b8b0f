"""Distances between plots, and how an animal gets from one to the next."""
