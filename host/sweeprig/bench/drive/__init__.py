"""The motor of a driven build: its first check, and sweeps that it makes by itself."""
