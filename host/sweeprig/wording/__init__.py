"""What an operator is told of a state, in words: the terminal and the page say the same. Pure; no layout."""
