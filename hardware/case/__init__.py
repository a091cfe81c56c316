"""A case to print for the full and driven builds; it follows the printed board's placement."""
