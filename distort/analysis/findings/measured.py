"""What one condition measured, and what an order reads at one place of it."""

import math
from dataclasses import dataclass

import numpy as np

from distort.analysis.common.curves import Harmonics, Response
from distort.analysis.common.log_frequency import over_log_frequency
from distort.analysis.common.quantities import from_findings
from distort.analysis.findings.evidence import ChangeCurve
from distort.analysis.findings.finding import EvidenceRow, Finding
from distort.analysis.findings.order_contrasts import nearest_row
from distort.analysis.findings.words import hertz, ordinal
from distort.analysis.impulsive.impulsive import ImpulsiveResult

HARDLY_DB, MADE_DB = 1.0, 3.0
"""A fall of at most the first excludes a part as what makes a harmonic; of at least the second names it: then three
tenths of its amplitude or more are gone (own choice)."""


@dataclass(frozen=True, kw_only=True)
class NearField:
    """The microphone stood at a cone or a port."""

    highest_hz: float
    """Up to where its pressure shows what is sent out: `common.near_field`."""
    radius_known: bool
    """False: `highest_hz` is that of the largest radiator."""


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One condition: what was found, and its curves by level."""

    condition: str
    findings: tuple[Finding, ...]
    levels_db_spl: tuple[float, ...]
    harmonics: tuple[Harmonics, ...]
    response: Response | None = None
    """Of the lowest level; None: nothing is referred to the input."""
    changes: tuple[ChangeCurve, ...] = ()
    """With level, a curve a stimulus and level."""
    strikes: ImpulsiveResult | None = None
    """None: nobody listened for what strikes."""
    changed: str | None = None
    """What was changed against the first condition."""
    near_field: NearField | None = None
    """None: it was heard at a distance."""


@dataclass(frozen=True, kw_only=True)
class OrderPlace:
    """An order at one level and frequency."""

    number: int
    level_db_spl: float
    frequency_hz: float

    @property
    def words(self) -> str:
        """ "the third harmonic at 890 Hz" """
        return f"the {ordinal(self.number)} at {hertz(self.frequency_hz)}"

    @property
    def product_hz(self) -> float:
        """Where the product lies."""
        return self.number * self.frequency_hz


@dataclass(frozen=True, kw_only=True)
class OrderRead:
    """What an order reads there, dB."""

    relative_db: float
    """Re the fundamental."""
    interval_db: float
    """Half-width of its 95 % interval."""
    input_db: float
    """Re the input, through the response at n f: neither the fundamental nor the way of the product is in it."""
    input_interval_db: float


def order_place(finding: Finding) -> OrderPlace | None:
    """Where the order that rises most of those that speak for a finding does; None: it rests on no order."""
    of_orders = [(from_findings(row.quantity).order, row) for row in finding.evidence]
    rows = [(number, row) for number, row in of_orders if number is not None]
    speaking = [one for one in rows if one[1].speaks == "for"] or rows

    def rise_db(one: tuple[int, EvidenceRow]) -> float:
        return abs(one[1].rise_db)

    if not speaking:
        return None
    number, row = max(speaking, key=rise_db)
    return OrderPlace(number=number, level_db_spl=row.level_db_spl, frequency_hz=row.frequency_hz)


def order_read(one: Measured, at: OrderPlace, *, doubtful: bool = False) -> OrderRead | None:
    """The reading; None where it was not made, or is doubtful there and none that is was asked for."""
    if at.level_db_spl not in one.levels_db_spl:
        return None
    harmonics = one.harmonics[one.levels_db_spl.index(at.level_db_spl)]
    order = next((each for each in harmonics.orders if each.order == at.number), None)
    row = nearest_row(harmonics.frequency_hz, at.frequency_hz)
    if (
        order is None
        or row is None
        or (order.doubtful[row] and not doubtful)
        or not np.isfinite(order.relative_db[row])
    ):
        return None
    interval_db = float(np.nan_to_num(order.uncertainty_db[row]))
    way_db = math.nan if one.response is None else _noise_interval_db(one.response, at.product_hz)
    return OrderRead(
        relative_db=float(order.relative_db[row]),
        interval_db=interval_db,
        input_db=float(order.equivalent_input_db[row]),
        input_interval_db=math.hypot(interval_db, way_db),
    )


def _noise_interval_db(response: Response, at_hz: float) -> float:
    """By how much noise may move the response: as if it added in phase. NaN where its floor is not known."""
    above_db = over_log_frequency(
        np.array([at_hz]), response.frequency_hz, response.level_db - response.noise_db, outside=np.nan
    )
    return float(20.0 * np.log10(1.0 + 10.0 ** (-above_db[0] / 20.0)))
