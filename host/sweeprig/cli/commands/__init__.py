"""One module a command: options in, one call of bench, printed."""
