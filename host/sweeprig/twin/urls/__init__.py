"""Where pyserial finds the handler of sim:// URLs."""
