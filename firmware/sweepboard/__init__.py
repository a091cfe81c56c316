"""What runs on the board; importable on MicroPython and on CPython."""

FIRMWARE_VERSION = "0.1.0"
