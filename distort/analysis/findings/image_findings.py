"""Images of a poor conversion between 48 and 44.1 kHz (or their multiples) in the recording.

Of a tone at f they lie at |F k +- f|, F = 3,900 Hz the difference of the two rates, as far below the tone at every
level. Order n crosses one where n f = |F k +- f|: at f = F k / (n - 1) and F k / (n + 1). Several orders that rise at
just these places, each at its own, are no products of a loudspeaker.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy

from distort.analysis.findings.candidates import Contrasts
from distort.analysis.findings.contrasts import GAPS_OCTAVES
from distort.analysis.findings.evidence import Evidence, Image
from distort.analysis.findings.explanations.fit import Fit
from distort.analysis.findings.explanations.local_source import LEAST_GROWTH
from distort.analysis.findings.finding import Draft, Explanation, PlaceFound
from distort.analysis.findings.likelihoods import log_sum, share_right
from distort.analysis.findings.order_contrasts import GapContrasts, nearest_row
from distort.analysis.findings.places import OrderAt, Place, place_at
from distort.analysis.findings.rows import order_rows
from distort.analysis.findings.weighings import octaves_apart, place_found

DIFFERENCES_HZ = (3900.0, 7800.0)
"""48 kHz less 44.1 kHz, and twice that: 96 kHz less 88.2 kHz (sample rates of AES5)."""

LOWEST_ORDER = 3
"""Order 2 stands far above images nearly everywhere."""

LEAST_DB, LEAST_SPREADS = 2.5, 3.5
"""What counts as a rise at a crossing."""

NAMED, SUSPECTED, LEAST_ORDERS = 3, 1, 2
"""So many crossings at which an order rises, of two orders at least, name the conversion; fewer only keep others from
being named."""

NARROW_ROWS, LEAST_FALL_DB = 4, 2.0
"""So far beside it (a sixth of an octave) an order lies so much lower on both sides."""

NEAR_OCTAVES = 0.08
"""Two rows of the grid: a rise at a crossing is as wide as the curves are smoothed."""

IMAGE_PRIOR = 0.1
"""Probability that the recordings went through a poor conversion, before they are looked at (own choice)."""

MET_BY_IMAGES = 0.5
"""Share of the crossings at which an image rises over the order, where there is one (own estimate: half of them lie
under the order itself)."""

ELSEWHERE = (0.86, 0.93, 1.07, 1.14)
"""Differences of rates that do not exist, in shares of those that do: how often orders rise there is chance."""

MEASURED_PROBABILITY = share_right(100, 100)
"""Of images that stand where the sweep's own image must: in the study of conversions (tests/STUDIES.md) 100 of 100 were
told with one and none of 100 without."""

MEASURED_STRENGTH_DB = 3.0
"""In the order of the list: after what the loudspeaker does (own choice)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Crossing:
    """An order where it meets an image, and rises."""

    place: Place
    order: OrderAt


def with_images(drafts: Sequence[Draft], evidence: Evidence, contrasts: Contrasts) -> list[Draft]:
    """The drafts, those that stand at crossings of images alone being one of images, where images are known or enough
    orders tell them; where something rises at crossings and neither is so, they are left undecided."""
    if evidence.images:
        return _with_found(drafts, evidence, contrasts)
    met, looked_at = _met(evidence, contrasts)
    places = {one.place.frequency_hz for one in met}
    if len(places) < SUSPECTED:
        met = ()
    kept, at_crossings = _apart(drafts, met)
    if len(places) >= NAMED and len({one.order.order for one in met}) >= LEAST_ORDERS:
        return [_told_by_orders(evidence, contrasts, met, looked_at), *kept]
    between: tuple[Explanation, ...] = ("loudspeaker-generated", "conversion-image")
    return [
        *kept,
        *(
            replace(one, explanation="undecided", decided=False, between=between, part_of_loudspeaker=None)
            for one in at_crossings
        ),
    ]


def _with_found(drafts: Sequence[Draft], evidence: Evidence, contrasts: Contrasts) -> list[Draft]:
    """The same where images were found beside the sweep: what rises where orders cross those, and no others."""
    found_hz = sorted({one.difference_hz for one in evidence.images})
    met, _ = _met(evidence, contrasts, found_hz)
    kept, at_crossings = _apart(drafts, met, found_hz)
    risen_hz = {one.place.frequency_hz for one in met} | {one.places[0].frequency_hz for one in at_crossings}
    image = _measured(evidence.images, sorted(risen_hz))
    return kept if image is None else [image, *kept]


def _told_by_orders(evidence: Evidence, contrasts: Contrasts, met: Sequence[Crossing], looked_at: int) -> Draft:
    met = sorted(met, key=lambda one: -one.order.mean_db)
    first = met[0]
    below_db = -float(np.median([one.order.relative_db[-1] for one in met]))
    return Draft(
        explanation="conversion-image",
        decided=True,
        probability=_probability(evidence, contrasts, len(met), looked_at),
        places=tuple(place_found(one.place.frequency_hz) for one in met),
        strength_db=first.order.mean_db,
        part_of_loudspeaker=False,
        numbers={"difference_hz": DIFFERENCES_HZ[0], "below_db": below_db},
        evidence=tuple(row for one in met for row in order_rows(one.place, _fit(one), (), only=(one.order.order,))),
    )


def _measured(images: Sequence[Image], risen_hz: Sequence[float]) -> Draft | None:
    """Of images that were read beside the sweep: where they touch orders, and where one rises at a crossing at which
    they could not be read, because what is louder lies beside it. None where they do neither."""
    strongest = max(images, key=lambda one: one.highest_db)
    stretches = sorted({stretch for one in images for stretch in one.touched_hz})
    apart_hz: list[float] = []
    for at_hz in risen_hz:
        touched = any(low_hz <= at_hz <= high_hz for low_hz, high_hz in stretches)
        if not touched and not (apart_hz and octaves_apart(at_hz, apart_hz[-1]) < NEAR_OCTAVES):
            apart_hz.append(at_hz)
    if not stretches and not apart_hz:
        return None
    return Draft(
        explanation="conversion-image",
        decided=True,
        probability=MEASURED_PROBABILITY,
        places=tuple(
            PlaceFound(frequency_hz=math.sqrt(low_hz * high_hz), low_hz=low_hz, high_hz=high_hz)
            for low_hz, high_hz in stretches
        )
        + tuple(place_found(at_hz) for at_hz in apart_hz),
        strength_db=MEASURED_STRENGTH_DB,
        part_of_loudspeaker=False,
        numbers={"difference_hz": strongest.difference_hz, "below_db": -strongest.highest_db},
    )


def _apart(
    drafts: Sequence[Draft], met: Sequence[Crossing], differences_hz: Sequence[float] = DIFFERENCES_HZ
) -> tuple[list[Draft], list[Draft]]:
    """Drafts that stand elsewhere as well, and those that stand at crossings alone."""
    kept: list[Draft] = []
    at_crossings: list[Draft] = []
    for one in drafts:
        met_there = one.explanation in ("loudspeaker-generated", "product-on-peak", "undecided") and all(
            any(octaves_apart(place.frequency_hz, each.place.frequency_hz) < NEAR_OCTAVES for each in met)
            for place in one.places
        )
        # above the noise there alone, as an image is
        alone = "at_least" in one.numbers and _crosses(one, differences_hz)
        (at_crossings if met_there or alone else kept).append(one)
    return kept, at_crossings


def _crosses(one: Draft, differences_hz: Sequence[float]) -> bool:
    """Whether the order that stands out lies where it would cross an image."""
    number = one.numbers["order"]
    crossings = [difference_hz / (number + side) for difference_hz in differences_hz for side in (-1.0, 1.0)]
    return any(octaves_apart(one.places[0].frequency_hz, at_hz) < NEAR_OCTAVES for at_hz in crossings)


def _probability(evidence: Evidence, contrasts: Contrasts, met: int, looked_at: int) -> float:
    """Of images, from the likelihood of the readings: binomial, with the share of rises that the same orders show at
    crossings of differences that no two sample rates have."""
    elsewhere = [_met(evidence, contrasts, [share * one for one in DIFFERENCES_HZ]) for share in ELSEWHERE]
    by_chance = share_right(sum(len(one) for one, _ in elsewhere), sum(count for _, count in elsewhere))
    logs = [
        np.log(prior) + float(scipy.stats.binom.logpmf(met, looked_at, share))
        for prior, share in ((IMAGE_PRIOR, max(MET_BY_IMAGES, by_chance)), (1.0 - IMAGE_PRIOR, by_chance))
    ]
    return float(np.exp(logs[0] - log_sum(*logs)))


def _met(
    evidence: Evidence, contrasts: Contrasts, differences_hz: Sequence[float] = DIFFERENCES_HZ
) -> tuple[tuple[Crossing, ...], int]:
    """Crossings at which an order rises, and at how many an order is readable."""
    found = contrasts[GAPS_OCTAVES[0]]
    met: dict[tuple[int, float], Crossing] = {}
    looked_at: set[tuple[int, int]] = set()
    for number in (one for one in evidence.numbers if one >= LOWEST_ORDER):
        for difference_hz in differences_hz:
            for divisor in (number - 1, number + 1):
                at_hz = difference_hz / divisor
                row = nearest_row(evidence.frequency_hz, at_hz)
                if row is None or not _readable(found, number, row):
                    continue
                looked_at.add((number, row))
                crossing = _crossing(evidence, found, number, at_hz)
                if crossing is not None:
                    met[number, crossing.place.frequency_hz] = crossing
    return tuple(met.values()), len(looked_at)


def _readable(found: GapContrasts, number: int, row: int) -> bool:
    """Whether an order has a contrast at a row or beside it, at any level."""
    rows = slice(max(row - 1, 0), row + 2)
    return any(one.order == number and bool(np.any(np.isfinite(one.known_db[:, rows]))) for one in found.orders)


def _crossing(evidence: Evidence, found: GapContrasts, number: int, at_hz: float) -> Crossing | None:
    """The best of the rows about a crossing, where the order rises there and does not grow as a product."""
    row = nearest_row(evidence.frequency_hz, at_hz)
    if row is None:
        return None
    best: Crossing | None = None
    for near in (row - 1, row, row + 1):
        if not (0 <= near < evidence.frequency_hz.size and _narrow(found, number, near)):
            continue
        place = place_at(evidence.frequency_hz, found, near)
        order = place.of(number)
        if order is None or (order.growth is not None and order.growth >= LEAST_GROWTH):
            continue
        rise_db = min(order.mean_db, order.mean_db - order.there_db)
        clear = rise_db >= max(LEAST_DB, LEAST_SPREADS * max(order.spread_db(0), order.spread_db(1)))
        if clear and (best is None or order.mean_db > best.order.mean_db):
            best = Crossing(place=place, order=order)
    return best


def _narrow(found: GapContrasts, number: int, row: int) -> bool:
    """Whether the order falls off to both sides within a few rows, as a line under the curves' smoothing does."""
    level_db = next((one.level_db[-1] for one in found.orders if one.order == number), np.empty(0))
    if not NARROW_ROWS <= row < level_db.size - NARROW_ROWS:
        return False
    beside_db = level_db[[row - NARROW_ROWS, row + NARROW_ROWS]]
    return bool(np.all(level_db[row] - beside_db >= LEAST_FALL_DB))


def _fit(one: Crossing) -> Fit:
    predicted = {each.order: 0.0 for each in one.place.orders}
    return Fit(
        name="conversion-image",
        alpha=0,
        log_likelihood=0.0,
        predicted_db=predicted | {one.order.order: one.order.mean_db},
        spread_db={each.order: each.spread_db(0) for each in one.place.orders},
        source_db={one.order.order: one.order.mean_db},
    )
