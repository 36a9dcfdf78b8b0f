"""Page kit: what all pages, sheets and files are made with."""
