"""Simulated sensors, hands, front end and converter."""
