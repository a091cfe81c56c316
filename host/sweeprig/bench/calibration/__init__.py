"""Calibrating the rig against a meter or a ramp."""
