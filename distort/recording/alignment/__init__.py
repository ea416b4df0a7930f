"""Where in a recording the stimulus lies, and how the clocks stand to one another."""
