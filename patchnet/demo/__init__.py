"""Demo room: an invented neighbourhood, made from a seed."""
