"""Readings of a running rig: volts, levels, lever, watch."""
