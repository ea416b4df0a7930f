"""What plays and records: sound cards and the simulated loudspeaker, behind one small interface."""
