"""The plain build hole by hole: on a breadboard, and on a perforated board with the same places."""
