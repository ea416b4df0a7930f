"""Families whose cause makes orders of its own, at one place: surround, port, loose part."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from tests.families.devices import Bent, Device, Way
from tests.families.drawing import Case, Drawn, drawn, place_hz
from tests.families.filters import Band, FloatArray, Resonance
from tests.families.paths import reflected, resonant
from tests.families.truth import LEVELS, Cause, measured

SYMMETRIC, ONE_SIDED, BOTH = (3, 5), (2, 4), (2, 3)

STRONGEST_DB = -24.0
"""Of an order re the tone: above it a cubic changes the tone itself by 2 dB."""

FIFTH_SHARE = 0.15
"""Of the higher power beside the lower one."""


@dataclass(frozen=True, kw_only=True)
class Local:
    """A way beside the body that is curved about one frequency alone."""

    way: Way
    cause: Cause


def local(made: Drawn, at_hz: float, *, above_db: float, q: float | None = None) -> Local:
    """A source whose orders lie `above_db` above the body's own, dB, where it is strongest."""
    powers = [SYMMETRIC, ONE_SIDED, BOTH][int(made.random.integers(0, 3))]
    own_db = made.device.steady_db(np.array([at_hz]), 96.0)[:, 0]
    width = float(made.random.uniform(1.5, 8.0)) if q is None else q
    sizes: dict[int, float] = {}
    for place, power in enumerate(powers):
        base_db = own_db[power - 1] - own_db[0]
        level_db = min(max(base_db, -75.0) + above_db, STRONGEST_DB)
        if place and powers != BOTH:
            level_db -= 15.0  # the next order of a curve is weaker
        sizes[power] = float(made.random.choice([-1.0, 1.0]) * 2.0 ** (power - 1) * 10.0 ** (level_db / 20.0))
    way = Way(before=Band(at_hz=at_hz, q=width), powers=sizes, after=made.body.after)
    return Local(way=way, cause=made_cause(at_hz, sizes, width))


def made_cause(at_hz: float, sizes: Mapping[int, float], q: float) -> Cause:
    """What is true of a curve at one place."""
    return Cause(
        explanation="loudspeaker-generated",
        frequency_hz=at_hz,
        places_hz=(at_hz,),
        orders=tuple(sizes),
        of_loudspeaker=True,
        numbers={"q": q},
    )


def local_source(seed: int) -> Case:
    """A part that distorts about one frequency: from invisible to 26 dB above the rest."""
    at_hz = place_hz("local-source", seed)
    made = drawn("local-source", seed, highest_hz=at_hz)
    one = local(made, at_hz, above_db=float(made.random.uniform(-8.0, 26.0)))
    device = made.device.with_ways(one.way)
    return made.case(device, made.truth(with_change(measured(one.cause, device, made.device))))


def narrow_source(seed: int) -> Case:
    """The same with a Q of 20 to 40."""
    at_hz = place_hz("narrow-source", seed, 100.0, 8000.0)
    made = drawn("narrow-source", seed, highest_hz=at_hz)
    one = local(made, at_hz, above_db=float(made.random.uniform(0.0, 30.0)), q=float(made.random.uniform(20.0, 40.0)))
    device = made.device.with_ways(one.way)
    return made.case(device, made.truth(with_change(measured(one.cause, device, made.device))))


def with_change(cause: Cause, at_least_db: float = 0.1) -> Cause:
    """`cause`, which may also be said to compress or expand where it truly does: a cubic moves the tone by 3 D3."""
    if cause.largest_change_db() < at_least_db:
        return cause
    loudest = cause.change_db[max(cause.change_db)]
    return replace(cause, also=(*cause.also, "compression" if loudest < 0.0 else "expansion"))


@dataclass(frozen=True, kw_only=True)
class Slack:
    """What moves freely up to `play` and is bent from there on: (|x| - play)^2, on both sides or on one."""

    play: float
    size: float
    both_sides: bool

    def __call__(self, x: FloatArray) -> FloatArray:
        upper = np.square(np.maximum(x - self.play, 0.0))
        if not self.both_sides:
            return self.size * upper
        return self.size * (upper - np.square(np.maximum(-x - self.play, 0.0)))


def source_above_a_level(seed: int) -> Case:
    """A part that touches only from some level on: nothing below, and more than a polynomial's growth above."""
    at_hz = place_hz("source-above-a-level", seed, 60.0, 4000.0)
    made = drawn("source-above-a-level", seed, highest_hz=at_hz)
    begins_db = float(made.random.uniform(82.0, 94.5))
    play = 10.0 ** ((begins_db - 96.0) / 20.0)
    both_sides = bool(made.random.random() < 0.5)
    q = float(made.random.uniform(1.5, 8.0))
    band = Band(at_hz=at_hz, q=q)
    # Scaled so that its first order of distortion has the drawn level at 96 dB.
    orders = (3, 5) if both_sides else (2, 3)
    unit = Bent(curve=Slack(play=play, size=1.0, both_sides=both_sides), before=band)
    made_of_one = np.abs(unit.steady(np.array([at_hz]), np.array([1.0 + 0j]))[orders[0] - 1, 0])
    level_db = float(made.random.uniform(-65.0, -28.0))
    size = 10.0 ** (level_db / 20.0) / float(made_of_one)
    way = Bent(curve=Slack(play=play, size=size, both_sides=both_sides), before=band, after=made.body.after)
    device = Device(ways=(made.body, way))
    cause = replace(
        made_cause(at_hz, {order: 0.0 for order in orders}, q),
        accepted=("rub",),  # a stop that is touched in every period is regular
        levels=tuple(level for level in LEVELS if level > begins_db),
        numbers={"q": q, "begins_db_spl": begins_db},
    )
    return made.case(device, made.truth(with_change(measured(cause, device, made.device))))


def two_causes(seed: int) -> Case:
    """A dip and a source at one place: a copy's, a resonance's, or a filter's before the body alone."""
    at_hz = place_hz("two-causes", seed, 60.0, 5000.0)
    made = drawn("two-causes", seed, highest_hz=at_hz, curvature_db=2.0)
    depth_db = float(made.random.uniform(4.0, 15.0))
    one = local(made, at_hz, above_db=float(made.random.uniform(6.0, 24.0)), q=float(made.random.uniform(1.5, 6.0)))
    q = float(made.random.uniform(1.5, 6.0))
    kind = ("copy", "resonance", "filter")[int(made.random.integers(0, 3))]
    if kind == "copy":
        copy, dip = reflected(made, at_hz, depth_db=depth_db)
        without_source = replace(made.device, heard=copy)
        device = without_source.with_ways(one.way)
    elif kind == "resonance":
        resonance, dip = resonant(at_hz, q, -depth_db)
        without_source = replace(made.device, heard=resonance)
        device = without_source.with_ways(one.way)
    else:
        dip = Cause(
            explanation="filter-before-source",
            frequency_hz=at_hz,
            places_hz=(at_hz,),
            orders=(2, 3),
            of_loudspeaker=True,
            numbers={"q": q, "gain_db": -depth_db},
        )
        before = made.body_with(before=Resonance(at_hz=at_hz, q=q, gain_db=-depth_db))
        without_source = Device(ways=(before,))
        device = without_source.with_ways(one.way)
    source = with_change(measured(one.cause, device, without_source))
    dipped = measured(dip, without_source, made.device)
    both = replace(
        source,
        explanation=dip.explanation,
        accepted=(*dip.accepted, "loudspeaker-generated"),
        places_hz=dip.places_hz,
        response_db=dipped.response_db,
        of_loudspeaker=None,
        numbers={**dip.numbers, "source_q": one.cause.numbers["q"]},
    )
    devices = {"default": device}
    if kind == "copy" and made.random.random() < 0.5:
        devices = {"stand": made.device.with_ways(one.way), "desk": device}  # the source is there without the copy, too
    return made.case(devices, made.truth(both, note=f"{kind} and source"))
