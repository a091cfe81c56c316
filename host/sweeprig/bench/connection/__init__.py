"""The connection test, the test lead, and which pin is which."""
