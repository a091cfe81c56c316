"""Starts the service on the board."""
