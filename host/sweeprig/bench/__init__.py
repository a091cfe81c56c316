"""What the commands do, without a terminal."""
