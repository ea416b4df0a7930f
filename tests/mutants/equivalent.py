"""Slips that change nothing that anybody can see, each with its proof; they are left out of every draw."""

PROOFS: dict[str, str] = {}
"""By `Change.key`: file, function, what was written, what took its place."""
