"""A world small enough to work out on paper."""

from worlds.paper import cases, knowledge, street

__all__ = ["cases", "knowledge", "street"]
