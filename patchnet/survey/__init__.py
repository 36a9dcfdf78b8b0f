"""Survey room: what volunteers hand in, who said what, and what it comes to."""
