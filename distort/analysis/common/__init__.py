"""What all of the analysis stands on: the grid, curves over it, interpolation, smoothing."""
