"""Two sides held against one another, all bands judged together."""
