"""Which licences of music permit that it leaves a session, whole, cut and changed, as recordings of it are."""

UNNAMED = frozenset({"cc0-1.0", "public domain"})
"""Licences that ask for nothing, by their identifiers in the SPDX list in small letters; and what belongs to nobody."""

NAMED = frozenset({"cc-by-3.0", "cc-by-4.0", "cc-by-sa-3.0", "cc-by-sa-4.0"})
"""Those that permit it where whose music it is stands beside it (section 3(a) of CC BY 4.0, from memory). Licences that
forbid changes, or trade, are in neither: whoever reads a report may be in a trade."""


def may_be_shared(licence: str, credit: str) -> bool:
    """Whether a licence as a plan states it is one of those, and has the credit that it asks for."""
    stated = " ".join(licence.lower().split())
    return stated in UNNAMED or (stated in NAMED and bool(credit.strip()))
