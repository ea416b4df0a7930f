"""How far two sides rise at the place of a fault, on curves in closed form."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.common.quantities import from_comparison
from distort.analysis.comparison.fault_places import at_anomaly, at_finding
from distort.analysis.comparison.significance import BROAD_OCTAVES, NARROW_OCTAVES, Curve
from distort.analysis.findings.finding import PlaceFound
from tests.test_fault_changes import DIP, RISE, risen

ROWS_HZ = grid_hz()
BAND = (PlaceFound(frequency_hz=1000.0, low_hz=600.0, high_hz=1700.0),)


def curve(quantity: str, level: float, value_db: np.ndarray, *, octaves: float = NARROW_OCTAVES) -> Curve:
    step = 1 if octaves == NARROW_OCTAVES else 8
    rows = ROWS_HZ[::step]
    return Curve(
        quantity=from_comparison(quantity),
        level_db_spl=level,
        octaves=octaves,
        frequency_hz=rows,
        value_db=value_db[::step],
        noise_variance=np.zeros(rows.size),
        noise_freedom=np.full(rows.size, 100.0),
        replicates_db=None,
        clear=np.ones(rows.size, dtype=np.bool_),
    )


def bump(hz: float, height_db: float, *, slope_db: float = 3.0) -> np.ndarray:
    """On a slope, which the flanks take away; a quarter of an octave wide at half of its height."""
    octaves = np.log2(ROWS_HZ / hz)
    return slope_db * octaves + height_db * np.exp(-0.5 * (octaves / 0.1) ** 2)


def test_the_response_of_the_lowest_level_rises_as_it_was_made() -> None:
    """The core is a mean of three rows of 1/24 octave: a bump of 0.1 octave standard deviation loses
    2/3 (1 - exp(-(1/24)^2 / 0.02)) of its height, 5.5 %."""
    kept = 1.0 - 2.0 / 3.0 * (1.0 - np.exp(-((1.0 / 24.0) ** 2) / 0.02))
    a = [curve("response", 86.0, bump(1000.0, -8.0)), curve("response", 96.0, bump(1000.0, 0.0))]
    b = [curve("response", 86.0, bump(1000.0, -2.0)), curve("response", 96.0, bump(1000.0, 0.0))]
    assert at_anomaly((a, b), DIP) == pytest.approx(
        (-8.0 * kept, -2.0 * kept), abs=0.05
    )  # the rows miss 1 kHz a little
    assert at_anomaly(([], b), DIP) is None


def test_a_side_that_cannot_be_read_says_nothing() -> None:
    a, b = curve("h3", 96.0, bump(1000.0, 6.0)), curve("h3", 96.0, bump(1000.0, 1.0))
    assert at_finding(([a], [b]), RISE) is not None
    unclear = replace(b, clear=np.abs(np.log2(ROWS_HZ / 1000.0)) > 0.1)
    elsewhere = replace(b, level_db_spl=86.0)
    for one, other in (([a], [unclear]), ([a], [elsewhere]), ([a], [])):
        assert at_finding((one, other), RISE) is None
        assert at_finding((other, one), RISE) is None
    broad = [curve("h3", 96.0, bump(1000.0, 6.0), octaves=BROAD_OCTAVES)]
    assert at_finding((broad, broad), RISE) is None  # too coarse for what is narrow
    assert at_finding(([a, *broad], [b, *broad]), RISE) == at_finding(([a], [b]), RISE)


def test_compression_without_a_dip_or_peak_is_taken_as_it_is() -> None:
    a, b = (curve("change", 96.0, np.full(ROWS_HZ.size, value)) for value in (-1.5, -0.5))
    band = replace(risen(quantity="compression_sweep"), places=BAND)
    assert at_finding(([a], [b]), band) == (-1.5, -0.5)
    at_dip = at_finding(([a], [b]), replace(band, places=RISE.places))
    assert at_dip == pytest.approx((0.0, 0.0), abs=1e-9)  # level curves rise nowhere
    low = replace(a, clear=ROWS_HZ < 500.0)
    assert at_finding(([low], [b]), band) is None
    assert at_finding(([b], [low]), band) is None
    nothing = replace(a, clear=np.zeros(ROWS_HZ.size, dtype=np.bool_))
    assert at_finding(([nothing], [b]), band) is None


@pytest.mark.parametrize(("away_octaves", "told"), [(0.155, True), (0.175, False)])
def test_a_reading_tells_of_a_place_within_a_sixth_of_an_octave(away_octaves: float, told: bool) -> None:
    """Half of a third octave, the widest band that is compared; clear from so far above the place on."""
    band = replace(risen(quantity="compression_sweep"), places=BAND)
    rows = band.frequency_hz * 2.0 ** np.array([away_octaves, 1.0])
    a, b = (
        replace(curve("change", 96.0, np.full(ROWS_HZ.size, value)), frequency_hz=rows, value_db=np.full(2, value))
        for value in (-1.5, -0.5)
    )
    a, b = (replace(one, clear=np.ones(2, dtype=np.bool_)) for one in (a, b))
    assert at_finding(([a], [b]), band) == ((-1.5, -0.5) if told else None)
