"""Words and tables of the terminal, and JSON."""
