"""Starts the service on the board."""

from sweepboard import boot

boot.run()
