"""How the response changes with level, and in what words."""
