"""Dips and peaks, what lines up with them, and why."""
