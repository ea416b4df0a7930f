"""What begins suddenly beside a sweep, waveforms read cycle by cycle, and what of a multitone counts as settling:
against sums by hand and closed forms."""

from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.impulsive.regularity import _waves
from distort.analysis.multitone.settling import Settling, SettlingFit, _pass_band
from distort.analysis.sweep.events import _rise, _sudden_db
from distort.recording import reading
from signals import Multitone, Sweep

BANDS_HZ = np.array([20.0, 59.0, 61.0, 100.0, 999.0, 1001.0, 3000.0])
MOMENTS = 40


def rise(density: np.ndarray, *, freedom: float = 10.0, usual: float = 1.0) -> tuple[float, int]:
    """Of a sound in moments 15 to 20, while the sweep is at 100 Hz."""
    plane = SimpleNamespace(
        sweep_hz=np.full(MOMENTS, 100.0),
        frequency_hz=BANDS_HZ,
        density=density,
        usual=np.full(density.shape, usual),
        freedom=np.full(density.shape, freedom),
    )
    return _rise(plane, 15, 20)


@pytest.mark.parametrize("band", range(BANDS_HZ.size))
def test_a_rise_counts_under_six_tenths_of_the_sweep_and_over_ten_times_of_it(band) -> None:
    """One of the four bands there rises to 7 times: their mean to 2.5 times, 3.98 dB. Others do not count."""
    density = np.ones((MOMENTS, BANDS_HZ.size))
    density[15:, band] = 7.0
    counts = BANDS_HZ[band] < 60.0 or BANDS_HZ[band] > 1000.0
    rise_db, at = rise(density, usual=0.5)
    assert rise_db == pytest.approx(10.0 * np.log10(2.5) if counts else 0.0)
    if counts:
        # within three moments: the first of them that spans it begins at 12, and the one after that moment is told
        assert at == 13


def test_where_nothing_is_known_nothing_rises() -> None:
    density = np.ones((MOMENTS, BANDS_HZ.size))
    density[15:] = 9.0
    assert rise(density, freedom=3.9)[0] == 0.0
    assert rise(density, freedom=4.1)[0] == pytest.approx(10.0 * np.log10(9.0))


@pytest.mark.parametrize(("moment", "seen"), [(4, True), (3, False), (25, True), (26, False)])
def test_a_rise_is_looked_for_from_twelve_moments_before_to_six_after(moment, seen) -> None:
    density = np.ones((MOMENTS, BANDS_HZ.size))
    density[moment:] = 2.0
    assert (rise(density)[0] > 1.0) is seen


def test_how_much_is_sudden_goes_with_the_speed_of_the_sweep() -> None:
    """3 dB, and 2.8 dB over L."""
    for rate_s in (0.5, 1.4):
        plane = SimpleNamespace(sweep=SimpleNamespace(rate_s=rate_s))
        assert _sudden_db(plane) == pytest.approx(3.0 + 2.8 / rate_s)


@pytest.mark.parametrize("steady", [True, False])
def test_waveforms_of_cycles_are_read_where_they_begin(steady) -> None:
    """A sine of three turns a cycle is alike from every cycle on when read in phase; one of 300 Hz when read in time
    is that sine from where each cycle begins. t(c) = L ln(1 + c / (f1 L)). Cubic splines of some 25 samples a turn are
    off by 1e-3."""
    sweep = Sweep(seconds=6.0, start_hz=20.0, full_level_hz=30.0, stop_hz=3500.0, sample_rate=8000, drive_dbfs=-20.0)
    time_s = np.arange(12_000) / 8000.0 + 1.0
    cycles = sweep.start_hz * sweep.rate_s * np.expm1(time_s / sweep.rate_s)
    sound = np.sin(2.0 * np.pi * 300.0 * time_s) if steady else np.sin(2.0 * np.pi * 3.0 * cycles)
    residual = SimpleNamespace(sweep=sweep, first_s=1.0, samples=sound)
    cycle = np.arange(40.0, 44.0) + 0.25
    found = _waves(residual, cycle, steady=steady)
    begins_s = sweep.rate_s * np.log1p(np.append(cycle, cycle[-1] + 1.0) / (sweep.start_hz * sweep.rate_s))
    last_s = begins_s[-1] - begins_s[-2]
    assert found.shape == (4, int(0.5 * last_s * 8000.0))  # half of the last cycle
    since_s = np.arange(found.shape[1]) / 8000.0
    if steady:
        expected = np.sin(2.0 * np.pi * 300.0 * (begins_s[:-1, None] + since_s))
    else:
        along = since_s / last_s * np.diff(begins_s)[:, None]
        at_s = begins_s[:-1, None] + along
        expected = np.sin(6.0 * np.pi * sweep.start_hz * sweep.rate_s * np.expm1(at_s / sweep.rate_s))
    np.testing.assert_allclose(found, expected, atol=2e-3)


def test_a_band_of_lines_ends_halfway_to_its_neighbours() -> None:
    """In log frequency, 1 between them, 0 at the neighbours; the first line has one an octave below it, the last one an
    octave above."""
    tone = Multitone(low_hz=500.0, high_hz=3000.0, period_s=0.5, sample_rate=8000, lines_per_decade=5.0, periods=2)
    bins = tone.line_bins
    group = np.zeros(bins.size, dtype=np.bool_)
    group[1:3] = True
    inner = _pass_band(tone, group)
    at = np.arange(inner.size)
    assert np.all(inner[(at >= np.sqrt(bins[0] * bins[1])) & (at <= np.sqrt(bins[2] * bins[3]))] == 1.0)
    assert np.all(inner[(at <= bins[0]) | (at >= bins[3])] == 0.0)
    halfway = round((bins[0] ** 3 * bins[1]) ** 0.25)  # a raised cosine has a half in the middle of its edge
    assert inner[halfway] == pytest.approx(0.5, abs=0.02)
    whole = _pass_band(tone, np.ones(bins.size, dtype=np.bool_))
    assert np.all(whole[(at >= bins[0] / np.sqrt(2.0)) & (at <= min(bins[-1] * np.sqrt(2.0), at[-1]))] == 1.0)
    assert np.all(whole[(at <= bins[0] / 2.0) | (at >= 2.0 * bins[-1])] == 0.0)


def settled(depth_db: float, *, uncertainty_db: float = 0.01) -> SettlingFit:
    one = Settling(low_hz=20.0, high_hz=200.0, depth_db=depth_db, uncertainty_db=uncertainty_db, time_constant_s=1.0)
    return SettlingFit(settling=one, whole_db=depth_db, end_db=0.0, residual_db=0.0)


@pytest.mark.parametrize(
    ("slow", "fast"),
    [((0.105, -0.095), (-1.05, -0.95)), ((-0.105, 0.095), (-1.05, 1.5))],
)
def test_a_tenth_of_a_decibel_is_a_warm_up_and_a_fall_of_one_an_attack(monkeypatch, slow, fast) -> None:
    """The first of each pair counts; what does not stand out of its uncertainty does not, either."""
    tone = Multitone(low_hz=500.0, high_hz=3000.0, period_s=0.5, sample_rate=8000, lines_per_decade=5.0, periods=3)
    take = SimpleNamespace(samples=np.zeros(4), start=0.0)
    doubtful = settled(-2.0, uncertainty_db=2.1)
    for name, made in {
        "require_alike": lambda takes: None,
        "_multitone_take": lambda one: (take, tone),
        "read_multitone": lambda *given: SimpleNamespace(noise=None),
        "multitone_result": lambda *given: None,
        "reference_for": lambda takes: None,
        "mean_heard": lambda heard: None,
        "period_levels": lambda *given, **named: [*map(settled, slow), doubtful],
        "onset": lambda *given, **named: [*map(settled, fast), doubtful],
        "settling_fit": lambda one: one,
    }.items():
        monkeypatch.setattr(reading, name, made)
    level = reading.read_multitone_takes([take], SimpleNamespace(microphone=None))
    assert [one.depth_db for one in level.warm_up] == [slow[0]]
    assert [one.depth_db for one in level.attack] == [fast[0]]
