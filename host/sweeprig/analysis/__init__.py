"""Strokes, ends, events, track map, linearity, two tracks: pure functions."""
