"""Two sides put beside one another."""
