"""All stimuli in one file: made, found in a recording, checked and cut."""
