"""One timed sweep, from the order to sheet and record."""
