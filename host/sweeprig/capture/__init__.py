"""Timed sweeps, the journal on disk, and the capture file."""
