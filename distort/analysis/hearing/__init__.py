"""What the ear masks, and what stands above that."""
