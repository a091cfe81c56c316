"""A page beside the rig: what the screen shows, on a phone; and the records in a browser."""
