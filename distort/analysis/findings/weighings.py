"""A place together with what was made of it."""

from dataclasses import dataclass

import numpy as np

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.common.statistics import TWO_SIDED_95
from distort.analysis.findings.explanations.local_source import grows
from distort.analysis.findings.finding import PlaceFound
from distort.analysis.findings.places import Place
from distort.analysis.findings.weighing import BOTH, SOURCE, Weighed

DECIDED = 0.8
"""A probability from which on a cause is named."""

OPEN = 0.5
"""Of a source: from here on the place is listed, as not decided."""

LEAST_NAMED_DB = 4.0
"""What a rise is put down to is at least this large: ripple of 1.5 dB reaches it at few places."""

LOWEST_HZ = 100.0
"""Below it the travel of a cone in its box changes by 10 dB and more an octave, and with it every order (common
practice, no source): what stands out there is the box."""

LEAST_INTERVALS = 1.8
"""What is made stands out of its interval by this factor in one order at least: orders that each stand out by little
may share a ripple."""

LEAST_RISE_DB = 3.0
LEAST_SOURCE_DB = 3.0

HALF_WIDTH_OCTAVES = 1.0 / 6.0
"""Either side of a source, for figures."""


def octaves_apart(one_hz: float, other_hz: float) -> float:
    """Between two frequencies."""
    return abs(float(np.log2(one_hz / other_hz)))


def place_found(at_hz: float) -> PlaceFound:
    """A place without a dip or peak, for figures."""
    wide = 2.0**HALF_WIDTH_OCTAVES
    return PlaceFound(frequency_hz=at_hz, low_hz=at_hz / wide, high_hz=at_hz * wide)


@dataclass(frozen=True, kw_only=True, eq=False)
class Weighing:
    """A place with its anomaly and what was made of it."""

    place: Place
    anomaly: Anomaly | None
    found: Weighed

    @property
    def as_place(self) -> PlaceFound:
        """For the finding."""
        if self.anomaly is None:
            return place_found(self.place.frequency_hz)
        return PlaceFound(
            frequency_hz=self.anomaly.frequency_hz, low_hz=self.anomaly.low_hz, high_hz=self.anomaly.high_hz
        )

    @property
    def source_db(self) -> float:
        """The largest S."""
        return max(self.found.source.source_db.values(), default=0.0)

    @property
    def has_source(self) -> float:
        """Probability that something is made here; 0 where it keeps its ratio at every level, where the box moves every
        order, or where no order's part stands out of its interval."""
        sizes = self.found.source.source_db
        if self.source_db < LEAST_SOURCE_DB or grows(self.place, tuple(sizes)) is False:
            return 0.0
        if self.place.frequency_hz < LOWEST_HZ or not any(
            size > LEAST_INTERVALS * TWO_SIDED_95 * self.found.source.spread_db[order] for order, size in sizes.items()
        ):
            return 0.0
        return self.found.probability[SOURCE] + self.found.probability.get(BOTH, 0.0)
