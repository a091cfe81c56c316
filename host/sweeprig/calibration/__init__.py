"""Calibration of the rig: codes to volts at the sensor, and their uncertainty."""
