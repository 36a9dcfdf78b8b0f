"""What every room stands on: numbers as people write them, tables and GeoPackages."""
