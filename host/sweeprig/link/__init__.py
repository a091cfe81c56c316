"""Ports, serial transport, decoder without I/O, and the rig client."""
