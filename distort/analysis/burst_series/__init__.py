"""A series of tone bursts that get louder until each band ends: its steps, and what they come to."""
