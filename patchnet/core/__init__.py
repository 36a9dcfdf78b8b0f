"""What every room uses: errors, files, numbers as people write them, tables, GeoPackages."""
