"""Pages room: what people look at or carry away: words, tables, files, the map page."""
