"""The recordings of a condition put together for the analysis."""
