"""What is shown on a terminal: pure functions from results and states to lines, and the screen itself."""
