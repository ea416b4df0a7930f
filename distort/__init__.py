"""Measures how much a loudspeaker distorts and compresses at stated sound pressure levels."""

__version__ = "0.1.0"
