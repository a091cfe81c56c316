"""The pieces of a printed board, from the table of nets."""
