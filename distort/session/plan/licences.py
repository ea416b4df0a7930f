"""Which licences of music permit that it leaves a session, whole, cut and changed, as recordings of it are."""

SHARING = frozenset({"cc0-1.0", "cc-by-3.0", "cc-by-4.0", "cc-by-sa-3.0", "cc-by-sa-4.0", "public domain"})
"""Licences by their identifiers in the SPDX list, in small letters; and what belongs to nobody. Those that forbid
changes, or trade, are not among them: whoever reads a report may be in a trade."""


def may_be_shared(licence: str) -> bool:
    """Whether a licence as a plan states it is one of those."""
    return " ".join(licence.lower().split()) in SHARING
