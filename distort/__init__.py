"""Measures how much a loudspeaker distorts and compresses at stated sound pressure levels."""
