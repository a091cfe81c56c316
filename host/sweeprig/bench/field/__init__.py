"""Sweeps without a laptop: orders to the board, and what it has kept."""
