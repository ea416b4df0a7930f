"""Loudspeakers in two or three conditions, and what is said across these: `python -m tests.across --help`."""
