"""One finding a place: what lies behind several curves there is joined, two causes at most, and put in order."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from distort.analysis.findings.finding import BROAD_OCTAVES, Draft, EvidenceRow, Explanation, PlaceFound

SAME_OCTAVES = 1.0 / 5.0
"""Places whose centres are this near are one."""

SOURCE_OCTAVES = 0.5
"""Two tops of what a loudspeaker makes this near are one source's: its orders top at places of their own."""

CHANGES: tuple[Explanation, ...] = ("level-dependent-resonance", "compression", "expansion", "cancellation")
"""What a change with level at a place may be."""

LEAST_SHARE = 0.4
"""Of a change that a third-order product explains: from here on both are one source's."""

INCLUDED: dict[Explanation, tuple[Explanation, ...]] = {
    "level-dependent-resonance": ("resonance", "loudspeaker-generated", "expansion", "compression"),
    "cancellation": ("delayed-copy", "resonance", "compression", "expansion", "level-dependent-resonance"),
    "product-on-peak": ("loudspeaker-generated",),
}
"""What an explanation predicts by itself at its place."""


def one_a_place(drafts: Sequence[Draft]) -> list[Draft]:
    """Drafts joined where they lie at one place; the strongest first."""
    left = sorted(drafts, key=_rank)
    joined: list[Draft] = []
    while left:
        first = left.pop(0)
        beside = [one for one in left if same_place(first, one)]
        left = [one for one in left if not any(one is other for other in beside)]
        joined.append(_joined(first, beside))
    return strongest_first(joined)


def strongest_first(drafts: Sequence[Draft]) -> list[Draft]:
    """Those that are decided before the others."""
    return sorted(drafts, key=lambda one: (not one.decided, -one.strength_db))


def _rank(one: Draft) -> tuple[bool, bool, float]:
    """Decided first, then what changes with level, then the strongest."""
    return not one.decided, one.explanation not in CHANGES, -one.strength_db


def same_place(one: Draft, other: Draft) -> bool:
    """Whether any of their places are one; places within a band stay findings of their own."""
    if _broad(one) or _broad(other):
        return False
    apart = SOURCE_OCTAVES if one.explanation == other.explanation == "loudspeaker-generated" else SAME_OCTAVES
    return any(near(a, b, apart=apart) for a in one.places for b in other.places)


def near(one: PlaceFound, other: PlaceFound, *, apart: float = SAME_OCTAVES) -> bool:
    """Whether two places are one."""
    return abs(float(np.log2(one.frequency_hz / other.frequency_hz))) < apart


def _broad(one: Draft) -> bool:
    return float(np.log2(one.high_hz / one.low_hz)) > BROAD_OCTAVES


def _joined(first: Draft, beside: Sequence[Draft]) -> Draft:
    """The first, with what else is decided at its place as a second cause."""
    found = first
    # other orders than the source's say that the dip lies behind what distorts
    behind = any(one.decided and "resonance" in (one.explanation, *one.also) for one in beside)
    for one in beside:
        if _made_by_the_third(found, one):
            found = replace(one, also=(found.explanation,), evidence=_both(one, found))
            continue
        if found.explanation == "level-dependent-resonance" and not behind and _third_explains(found, one):
            found = _fills_or_made(found, one)
            continue
        if found.explanation == "level-dependent-resonance" and one.explanation == "filter-before-source":
            found = replace(found, explanation="expansion")  # a filter before the source does not saturate
        evidence = _both(found, one)
        word = _at_the_place(found, one)
        included = word in INCLUDED.get(found.explanation, ()) or word == found.explanation
        if one.decided and not included and not found.also and found.decided:
            found = replace(found, also=(word,), evidence=evidence, numbers={**one.numbers, **found.numbers})
        else:
            found = replace(found, evidence=evidence)
    return found


def _at_the_place(found: Draft, one: Draft) -> Explanation:
    """What a draft says of the place of another: of products on a peak, where the peak itself lies, the resonance."""
    on_peak = one.explanation == "product-on-peak" and "resonance" in one.also
    return "resonance" if on_peak and any(near(place, one.places[-1]) for place in found.places) else one.explanation


def _both(one: Draft, other: Draft) -> tuple[EvidenceRow, ...]:
    """The rows of both, each quantity once at its level and place."""
    rows = {(row.quantity, row.level_db_spl, row.frequency_hz): row for row in (*other.evidence, *one.evidence)}
    return tuple(rows.values())


def _made_by_the_third(change: Draft, source: Draft) -> bool:
    """Whether a change is what the third harmonic of a source at the place explains."""
    if change.explanation not in ("compression", "expansion") or source.explanation != "loudspeaker-generated":
        return False
    return source.decided and _third_explains(change, source)


def _fills_or_made(found: Draft, one: Draft) -> Draft:
    """A dip that fills by what the third harmonic there explains: what makes it may saturate, or it lies before what
    distorts, and a source adds to the fundamental."""
    return replace(
        found,
        explanation="undecided",
        also=(),
        decided=False,
        between=("level-dependent-resonance", "loudspeaker-generated"),
        evidence=_both(found, one),
    )


def _third_explains(change: Draft, orders: Draft) -> bool:
    """Whether the third harmonic at the place explains a change.

    A cubic that makes a third harmonic of ratio d changes the fundamental by 3 d in amplitude (sin^3 has three parts of
    the fundamental for one of the third).
    """
    thirds = [row.value_db for row in orders.evidence if row.quantity == "h3" and row.value_db is not None]
    if not thirds:
        return False
    explained_db = 20.0 * float(np.log10(1.0 + 3.0 * 10.0 ** (max(thirds) / 20.0)))
    return explained_db >= LEAST_SHARE * abs(change.numbers.get("excess_db", np.inf))
