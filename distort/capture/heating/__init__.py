"""Long heating: minutes of a multitone, played, followed while it sounds, and recorded piece by piece."""
