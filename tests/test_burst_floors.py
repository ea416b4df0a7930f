"""Orders of a burst, their floors and marks, and the peak without a calibration, by numbers written down first."""

import math
from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.burst import ORDERS, BurstReading, BurstTake, read_bursts
from distort.analysis.burst_series.judged import BurstLevel
from distort.analysis.burst_series.result import BurstResult, burst_result
from distort.analysis.common.burst_limits import BurstLimits
from distort.analysis.sweep.sweeps import Reference
from signals.burst import PERIODS, BurstSeries, third_octaves_hz

RATE = 16000
SERIES = BurstSeries(bands_hz=third_octaves_hz(200.0, 1000.0), drive_dbfs=-6.0, sample_rate=RATE)
TOP = 10.0 ** (-6.0 / 20.0)
START = RATE
MADE_DB = {2: -20.0, 3: -27.0, 4: -33.0, 5: -41.0, 6: -44.0, 7: -48.0, 8: -53.0}
"""Orders that a device adds, dB re the fundamental."""


def heard(made_db: dict[int, float], *, noise: float = 0.0, seed: int = 1) -> BurstTake:
    """Each burst with orders of its own envelope, so that their lobes have its shape, and their energies are in the
    ratio of the amplitudes squared."""
    answer = np.concatenate([np.zeros(START), SERIES.samples(), np.zeros(RATE)])
    for first, burst in zip(SERIES.starts, SERIES.bursts, strict=True):
        at = np.arange(burst.n_samples) / RATE
        envelope = np.sin(np.pi * burst.frequency_hz / PERIODS * at) ** 2
        for order, level_db in made_db.items():
            turns = np.cos(2.0 * np.pi * order * burst.frequency_hz * at)
            answer[START + first : START + first + burst.n_samples] += (
                TOP * 10.0 ** (level_db / 20.0) * envelope * turns
            )
    answer += noise * np.random.default_rng(seed).standard_normal(answer.size)
    return BurstTake(samples=answer, start=float(START), silences=(answer[:START],), recorded_hz=RATE)


def result_of_one(reading: BurstReading, reference: Reference) -> BurstResult:
    one = BurstLevel(level_db_spl=90.0, drive_db=-6.0, played_dbfs=-6.0, reading=reading, reference=reference)
    return burst_result([one], BurstLimits())


def result_of(takes: list[BurstTake]) -> BurstResult:
    return result_of_one(read_bursts(takes, SERIES), Reference())


def test_every_order_is_read_where_it_is_and_as_what_it_is() -> None:
    """Every order has another level, so that none can be another's. Each lies in the tail of its neighbours: that of
    the order below, 13 dB louder at most (the fundamental: 20 dB), is 54 dB down in the lobe of the next, so it adds
    -54 + 20 dB in amplitude to the second, 2 %, and less to the others: 0.2 dB."""
    found = result_of([heard(MADE_DB)])
    known = np.outer(ORDERS, SERIES.bands_hz) <= 0.45 * RATE
    assert known.any(axis=1).all()
    for row, order in enumerate(ORDERS):
        np.testing.assert_allclose(found.harmonics_db[row][known[row]], MADE_DB[order], atol=0.2)
        assert np.isnan(found.harmonics_db[row][~known[row]]).all()


def test_the_floor_of_every_order_is_the_noise_in_its_lobe() -> None:
    """White noise of r.m.s. s has 2 s^2 / fs a hertz, so 2 s^2 / fs x 4 f / m x W in a lobe over the window's energy W;
    a burst of amplitude A and length T = m / f has A^2 / 2 x 3/8 T in all, 99.9 % of it in its lobe."""
    noise = 0.02
    found = result_of([heard(MADE_DB, noise=noise, seed=seed) for seed in range(12)])
    length_s = PERIODS / np.array(SERIES.bands_hz)
    window_s = length_s + SERIES.gap_s - 0.625 * 0.055  # fades of 5 and 50 ms
    of_noise = noise**2 * 2.0 / RATE * 4.0 / length_s * window_s
    wanted_db = 10.0 * np.log10(of_noise / (TOP**2 / 2.0 * 0.375 * length_s))
    # far over the burst's own spectrum, at -54 dB and less; 12 silences of a second scatter by a tenth in a lobe
    assert np.all(wanted_db > -45.0)
    for row in range(len(ORDERS)):
        known = np.isfinite(found.floor_db[row])
        np.testing.assert_allclose(found.floor_db[row][known], wanted_db[known], atol=0.6)


def reading(energy: list[float], noise: list[float], leak: list[float]) -> BurstReading:
    """One band by hand: the fundamental, and seven orders."""
    return BurstReading(
        frequency_hz=np.array([100.0]),
        energy=np.array(energy)[:, np.newaxis],
        noise=np.array(noise)[:, np.newaxis],
        leak=np.array(leak)[:, np.newaxis],
        peak=np.array([0.25]),
    )


BY_HAND = reading(
    [4.0, 4e-2, 4e-3, 4e-4, 4e-5, 4e-6, 4e-7, 4e-8],
    [9.0, 1e-4, 1e-4, 3e-5, 3e-5, 4e-6, 4e-7, 4e-8],
    [9.0, 3e-4, 0.0, 1e-5, 1e-5, 0.0, 0.0, 0.0],
)
CALIBRATED = Reference(offset_db=100.0, unit="db_spl")


def by_hand(given: BurstReading = BY_HAND, *, reference: Reference = CALIBRATED):
    return result_of_one(given, reference)


def test_orders_and_floors_by_hand() -> None:
    """Noise and the burst's own spectrum add as powers, order by order: 4e-4, 1e-4, 4e-5, ... of 4. What stands
    beside the fundamental is no floor of an order."""
    found = by_hand()
    np.testing.assert_allclose(found.harmonics_db[:, 0], [-20.0, -30.0, -40.0, -50.0, -60.0, -70.0, -80.0], atol=1e-9)
    floors = [10.0 * math.log10(one / 4.0) for one in (4e-4, 1e-4, 4e-5, 4e-5, 4e-6, 4e-7, 4e-8)]
    np.testing.assert_allclose(found.floor_db[:, 0], floors, atol=1e-9)


@pytest.mark.parametrize(("margin_db", "marked"), [(9.99, True), (10.01, False)])
@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("part", ["noise", "leak"])
def test_an_order_is_marked_under_ten_decibels_over_its_floor(order, part, margin_db, marked) -> None:
    """Whichever of the two floors it is, and no other order with it."""
    quiet = reading([4.0, 4e-2, 4e-3, 4e-4, 4e-5, 4e-6, 4e-7, 4e-8], [0.0] + [1e-12] * 7, [0.0] * 8)
    floor = getattr(quiet, part).copy()
    floor[order - 1] = quiet.energy[order - 1] * 10.0 ** (-margin_db / 10.0)
    found = by_hand(replace(quiet, **{part: floor}))
    assert found.doubtful[:, 0].tolist() == [marked and one == order for one in ORDERS]


def test_a_floor_that_is_not_known_marks_every_order() -> None:
    """Without a silence nothing tells an order from noise: NaN, and never a floor of nothing."""
    take = heard(MADE_DB)
    found = result_of([replace(take, silences=())])
    known = np.isfinite(found.harmonics_db)
    assert np.isnan(found.floor_db).all()
    assert found.doubtful[known].all()
    assert not result_of([take]).doubtful[1][known[1]].any()
    # and nothing is taken off: as where the silence holds nothing
    bare, silent = read_bursts([replace(take, silences=())], SERIES), read_bursts([take], SERIES)
    np.testing.assert_allclose(bare.energy, silent.energy, rtol=1e-9)


def test_the_peak_without_a_calibration_is_that_of_full_scale() -> None:
    """An amplitude of 0.25 is 20 lg 0.25 = -12.04 dB re full scale, where a full-scale sine is 0 dBFS (AES17); in dB
    SPL a peak stands 20 lg sqrt 2 = 3.01 dB above the r.m.s. that full scale stands for."""
    bare, calibrated = by_hand(reference=Reference()), by_hand()
    assert (bare.unit, calibrated.unit) == ("dbfs", "db_spl")
    assert bare.peak_db[0] == pytest.approx(20.0 * math.log10(0.25), abs=1e-9)
    assert calibrated.peak_db[0] == pytest.approx(20.0 * math.log10(0.25) + 100.0 + 10.0 * math.log10(2.0), abs=1e-9)
    wire = heard({})
    # the lobe alone and the sampling of the envelope's top, both made good by the burst as played
    np.testing.assert_allclose(result_of([wire]).peak_db, -6.0, atol=1e-3)
