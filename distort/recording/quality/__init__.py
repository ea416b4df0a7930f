"""What is wrong with a recording, by name and number."""
