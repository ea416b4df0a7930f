"""A recorded sweep: its orders taken apart and read."""
