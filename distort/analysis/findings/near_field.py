"""Which part of a loudspeaker makes a harmonic, from microphones at its cones and ports.

A near field is compared with the condition at a distance, and near fields with one another, by ratios alone: re the
fundamental, and referred to the input through the response at n f of the same microphone. How near it stood, and how
large what radiates is, drops out of both. What the drive unit makes before any part radiates it is the same everywhere
when it is referred to the input,

    cone   m H_c(n f)            port   m H_p(n f) + q        at a distance   m (H_c + H_p)(n f) + q

and what a port makes itself, q, is not at the cone. So where the cone has less than is heard at a distance, another
part makes the rest; where it has as much, it or what drives it makes it all, but for a part in quadrature. What a
microphone at one part hears of another is left out of account.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from distort.analysis.findings.changed_part import QUADRATURE
from distort.analysis.findings.finding import Finding
from distort.analysis.findings.measured import (
    HARDLY_DB,
    MADE_DB,
    Measured,
    OrderPlace,
    OrderRead,
    order_place,
    order_read,
)
from distort.analysis.findings.words import hertz

UP_TO_KA_1_DB = 0.4
"""Half-width that comparing a near field adds to the intervals of its readings. The pressure at the middle of a flat
piston is `sin(ka / 2) / (ka / 2)` of what it is in proportion to: -0.37 dB at ka = 1. The response at n f, read between
rows in a room, was off by as much in trials (tests/near_field_study.py)."""


@dataclass(frozen=True, kw_only=True)
class _Heard:
    """An order with words for where it was heard."""

    condition: str
    read: OrderRead


@dataclass(frozen=True, kw_only=True)
class _Near:
    """A near field against the condition at a distance, referred to the input, dB."""

    condition: str
    read: OrderRead
    above_db: float
    interval_db: float

    @property
    def at_least_below_db(self) -> float:
        return -self.above_db - self.interval_db

    @property
    def at_most_below_db(self) -> float:
        return max(self.interval_db - self.above_db, 0.0)

    @property
    def decided(self) -> bool:
        """It has less, or as much."""
        return self.at_least_below_db >= MADE_DB or self.as_much

    @property
    def as_much(self) -> bool:
        """Neither more nor less of it is known, and hardly less is possible."""
        return self.at_most_below_db <= HARDLY_DB and self.above_db - self.interval_db <= HARDLY_DB


def near_field_verdict(finding: Finding, main: Measured, near: Sequence[Measured]) -> str | None:
    """What the near fields prove of the harmonic that leads a finding of `main`; None where they cannot be read."""
    at = order_place(finding)
    if at is None or not near:
        return None
    within = [one for one in near if _highest_hz(one) >= at.product_hz]
    beyond = [one for one in near if _highest_hz(one) < at.product_hz]
    if not within:
        return _too_high(at, beyond)
    far = order_read(main, at)
    if far is None:
        return None
    held = [held for one in within if (held := _held(one, at, far)) is not None]
    if not held:
        return None
    weakest, strongest = (choose(held, key=_above_db) for choose in (min, max))
    said = _beside(at, held, _Heard(condition=f"in {main.condition}", read=far))
    proof = f"{said} {_proof(weakest, strongest, main.condition)}"
    return f"{proof} {_too_high(at, beyond)}" if beyond and not weakest.decided else proof


def _above_db(one: _Near) -> float:
    return one.above_db


def _held(one: Measured, at: OrderPlace, far: OrderRead) -> _Near | None:
    read = order_read(one, at)
    if read is None:
        return None
    above_db = read.input_db - far.input_db
    interval_db = math.hypot(read.input_interval_db, far.input_interval_db, UP_TO_KA_1_DB)
    if math.isnan(above_db + interval_db):
        return None
    return _Near(condition=one.condition, read=read, above_db=above_db, interval_db=interval_db)


def _beside(at: OrderPlace, held: Sequence[_Near], main: _Heard) -> str:
    """Re the fundamental: two near fields, or one and what is heard at a distance."""
    heard = [_Heard(condition=f"at {one.condition}", read=one.read) for one in held] if len(held) > 1 else []
    heard = heard or [_Heard(condition=f"at {held[0].condition}", read=held[0].read), main]
    weakest, strongest = (choose(heard, key=_re_fundamental_db) for choose in (min, max))
    by_db = strongest.read.relative_db - weakest.read.relative_db
    interval_db = math.hypot(weakest.read.interval_db, strongest.read.interval_db, UP_TO_KA_1_DB)
    return (
        f"{at.words[0].upper()}{at.words[1:]} is {by_db:.1f} +- {interval_db:.1f} dB stronger re its fundamental "
        f"{strongest.condition} than {weakest.condition}."
    )


def _re_fundamental_db(one: _Heard) -> float:
    return one.read.relative_db


def _proof(weakest: _Near, strongest: _Near, main: str) -> str:
    here = weakest.condition
    if weakest.at_least_below_db >= MADE_DB:
        least = f"{weakest.at_least_below_db:.1f} dB"
        fell = f"Referred to the input it is at least {least} weaker at {here} than in {main}"
        if strongest is not weakest and strongest.above_db + strongest.interval_db >= 0.0:
            return f"{fell}: {here} does not make it, {strongest.condition} does."
        return f"{fell}: {here} does not make it, another part does."
    if weakest.as_much:
        other = "nothing else makes it" if strongest is weakest else f"{strongest.condition} does not make it"
        return (
            f"Referred to the input it is at most {weakest.at_most_below_db:.1f} dB weaker at {here} than in {main}: "
            f"it is made there or before it, {other} ({QUADRATURE})."
        )
    size = f"{weakest.above_db:+.1f} +- {weakest.interval_db:.1f} dB"
    return f"Referred to the input it is {size} at {here} re {main}: which part makes it is open."


def _highest_hz(one: Measured) -> float:
    return math.inf if one.near_field is None else one.near_field.highest_hz


def _too_high(at: OrderPlace, beyond: Sequence[Measured]) -> str:
    """Why near fields do not tell."""
    best = max(beyond, key=_highest_hz)
    known = best.near_field is not None and best.near_field.radius_known
    how = " (ka = 1)" if known else " if it is as large as can be: state its radius in the plan"
    return (
        f"The near field of {best.condition} does not tell: {at.words} lies at {hertz(at.product_hz)}, and what is "
        f"radiated shows up to {hertz(_highest_hz(best))}{how}."
    )
