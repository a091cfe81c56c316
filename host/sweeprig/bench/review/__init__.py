"""From a capture to an outcome and to what is written of it."""
