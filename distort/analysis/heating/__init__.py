"""What minutes of a multitone change: level against time, time constants, and how it recovers."""
