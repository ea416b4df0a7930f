"""The recordings of one condition put together for the analysis."""
