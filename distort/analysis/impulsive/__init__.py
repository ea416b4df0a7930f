"""What strikes, rubs or blows while a sweep plays: read in step with its cycles, beyond the orders."""
