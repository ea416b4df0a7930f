"""Dips and peaks of a response against its own trend."""
