"""Waveforms and periods as they are played, against closed forms and other libraries' formulas."""

import math

import numpy as np
import pytest

from signals import Multitone, SampledSweep, SignalError, Sweep, hold_samples
from signals.levels import rms_dbfs
from signals.multitone import PROGRAMME_DB, line_amplitudes
from signals.tapers import rise
from tests.test_signal_edges import multitone, passes


def test_spectra_of_lines():
    """An octave up: pink 0 dB, flat +3.01, red -3.01; programme by its table, straight over log frequency between."""
    for spectrum, step_db in (("pink", 0.0), ("flat", 3.0103), ("red", -3.0103)):
        found = line_amplitudes([100.0, 200.0, 400.0], spectrum)
        np.testing.assert_allclose(20 * np.log10(found[1:] / found[:-1]), step_db, atol=1e-4)
        assert np.mean(found**2) == pytest.approx(1.0)
    found = line_amplitudes([1000.0, 8000.0, math.sqrt(8000.0 * 10000.0)], "programme")
    levels_db = 20 * np.log10(found / found[0])
    assert levels_db[2] - levels_db[1] == pytest.approx(0.5 * (PROGRAMME_DB[10000.0] - PROGRAMME_DB[8000.0]))


def test_the_programme_curve_stands_at_third_octaves_and_bends_smoothly():
    """IEC 60268-1, from memory: at the nominal midbands (IEC 61260-1: within 2 % of the exact ones), a network of a few
    poles: each value lies within 0.25 dB of the cubic through its four neighbours."""
    hz, level_db = np.array(list(PROGRAMME_DB)), np.array(list(PROGRAMME_DB.values()))
    exact = 1000.0 * 10.0 ** (0.1 * np.arange(-17, 14))
    np.testing.assert_allclose(hz, exact, rtol=0.02)
    through = (-level_db[:-4] + 4 * level_db[1:-3] + 4 * level_db[3:-1] - level_db[4:]) / 6.0
    np.testing.assert_allclose(level_db[2:-2], through, atol=0.25)
    assert np.max(level_db) == 0.0
    assert level_db[0] == pytest.approx(2 * level_db[1] - level_db[2] - 0.5, abs=0.3)  # steeper towards the end
    assert level_db[-1] == pytest.approx(2 * level_db[-2] - level_db[-3], abs=0.3)


def test_lines_are_the_odd_bins_nearest_to_their_grid_and_within_its_ends():
    tone = Multitone(low_hz=100.0, high_hz=10000.0, lines_per_decade=5.0, period_s=0.5)
    grid = 100.0 * 10.0 ** (np.arange(11) / 5.0)
    assert tone.line_bins.size == 11
    assert np.all(tone.line_bins % 2 == 1)
    inside = tone.line_bins[1:-1]
    assert np.max(np.abs(inside - grid[1:-1] * 0.5)) <= 1.0
    # 100 Hz is bin 50: 51 is the first odd one not below it; 10 kHz is bin 5000: 4999 the last not above
    assert (tone.line_bins[0], tone.line_bins[-1]) == (51, 4999)
    np.testing.assert_array_equal(tone.line_hz, tone.line_bins / 0.5)
    protected = Multitone(low_hz=100.0, high_hz=10000.0, lines_per_decade=5.0, period_s=0.5, lowest_hz=tone.line_hz[2])
    np.testing.assert_array_equal(protected.line_bins, tone.line_bins[2:])


def test_a_multitone_as_it_is_played():
    """Settling periods, measured periods and 50 ms; faded in over 5 ms and out over 50."""
    tone = Multitone(
        low_hz=200.0,
        high_hz=3000.0,
        period_s=0.1,
        sample_rate=8000,
        settling_periods=1,
        periods=2,
        lines_per_decade=5.0,
    )
    samples, one = tone.samples(), tone.period()
    assert (tone.period_samples, tone.n_samples, samples.size) == (800, 2800, 2800)
    np.testing.assert_allclose(samples[40:2400], np.tile(one, 3)[40:2400], atol=1e-12)
    np.testing.assert_allclose(samples[:40], one[:40] * rise(np.arange(40) / 40), atol=1e-12)
    np.testing.assert_allclose(samples[2400:], one[:400] * rise(np.arange(400, 0, -1) / 400), atol=1e-12)
    unsettled = Multitone(
        low_hz=200.0,
        high_hz=3000.0,
        period_s=0.1,
        sample_rate=8000,
        settling_periods=0,
        periods=2,
        lines_per_decade=5.0,
    )
    np.testing.assert_allclose(unsettled.samples()[:1600], np.tile(one, 2), atol=1e-12)
    assert rms_dbfs(one) == pytest.approx(-20.0)
    turns = np.arange(800) / 800
    expected = sum(
        a * np.cos(2 * np.pi * b * turns + p)
        for b, a, p in zip(tone.line_bins, tone.line_amplitudes, tone.line_phases_rad, strict=True)
    )
    np.testing.assert_allclose(one, expected, atol=1e-12)
    assert tone.peak_dbfs == pytest.approx(-20.0 - 3.0103 + tone.crest_factor_db, abs=1e-4)
    assert tone.crest_factor_db == pytest.approx(20 * math.log10(tone.crest_factor))


@pytest.mark.parametrize(
    ("fields", "may"),
    [
        ({}, True),
        ({"period_s": 0.50025}, True),  # 4002 samples, an even number
        ({"period_s": 0.500125}, False),  # 4001
        ({"period_s": 0.5 + 1e-10}, True),  # rounding
        ({"period_s": 0.5 + 2e-9}, False),
        ({"high_hz": 4000.0}, False),
        ({"high_hz": 3999.0}, True),
        ({"settling_periods": 0}, True),
        ({"settling_periods": -1}, False),
        ({"seed": 0}, True),
        ({"seed": 1.5}, False),
        ({"lines_per_decade": 1000.0, "low_hz": 1999.0, "high_hz": 3000.0, "period_s": 2.0}, True),
        ({"lines_per_decade": 1001.0, "low_hz": 1999.0, "high_hz": 3000.0, "period_s": 2.0}, False),
        ({"lines_per_decade": 1.0, "low_hz": 301.0}, False),  # one line
        ({"lines_per_decade": 1.0, "low_hz": 300.0}, True),  # two
        ({"drive_dbfs": -1.0}, False),  # its peak passes full scale
    ],
)
def test_what_is_a_multitone(fields, may):
    assert multitone(**fields) == may


@pytest.mark.parametrize(("apart", "may"), [(4, True), (2, False)])
def test_an_odd_bin_stays_free_between_two_lines(apart, may):
    """Lines at bins 101 and 105, or 103: by the grid from 101 Hz on, a period of a second."""
    assert (
        multitone(period_s=1.0, low_hz=101.0, high_hz=101.0 + apart, lines_per_decade=1 / math.log10(1 + apart / 101.0))
        == may
    )


def test_the_period_that_is_said_to_be_enough_is():
    with pytest.raises(SignalError, match="take period_s = ") as told:
        Multitone(lines_per_decade=40.0, period_s=1.0)
    enough = int(str(told.value).partition("take period_s = ")[2].partition(",")[0])
    Multitone(lines_per_decade=40.0, period_s=float(enough), periods=1)
    with pytest.raises(SignalError, match="leave no free bin"):
        Multitone(lines_per_decade=40.0, period_s=enough / 2.0, periods=1)


@pytest.mark.study
def test_a_period_is_at_most_two_to_the_23_samples():
    """And all of it at most an hour."""
    assert multitone(period_s=2**23 / 8000, periods=1, settling_periods=0)
    assert not multitone(period_s=(2**23 + 2) / 8000, periods=1, settling_periods=0)
    assert multitone(periods=43198, settling_periods=1)  # with one more for the fade 43,200 of 4000 samples
    assert not multitone(periods=43199, settling_periods=1)


def test_times_and_fades_of_a_sweep():
    """`t = L ln(f / f1)`; raised cosines over log frequency; half way up at the geometric mean."""
    sweep = Sweep(start_hz=20.0, full_level_hz=40.0, stop_hz=8000.0, fade_out_octaves=0.5, seconds=3.0)
    assert sweep.time_s([20.0, 200.0]) == pytest.approx([0.0, sweep.rate_s * math.log(10.0)])
    assert sweep.duration_s == pytest.approx(sweep.rate_s * math.log(400.0))
    assert sweep.n_samples == round(sweep.duration_s * 48000)
    assert sweep.rate_s * 20.0 == round(3.0 * 20.0 / math.log(400.0))
    faded = sweep.envelope([20.0, 20.0 * 2**0.5, 40.0, 1000.0, 8000.0 / 2**0.5, 8000.0 / 2**0.25, 8000.0])
    np.testing.assert_allclose(faded, [0.0, 0.5, 1.0, 1.0, 1.0, 0.5, 0.0], atol=1e-12)
    assert passes(lambda: Sweep(start_hz=20.0, full_level_hz=7000.0, stop_hz=8000.0, seconds=3.0))  # 7464 Hz
    assert not passes(lambda: Sweep(start_hz=20.0, full_level_hz=7500.0, stop_hz=8000.0, seconds=3.0))
    assert not passes(lambda: Sweep(start_hz=20.0, full_level_hz=20.0, stop_hz=8000.0, seconds=3.0))
    shortest_s = math.log(400.0) / 20.0  # one turn
    assert passes(lambda: Sweep(start_hz=20.0, full_level_hz=40.0, stop_hz=8000.0, seconds=0.51 * shortest_s))
    assert not passes(lambda: Sweep(start_hz=20.0, full_level_hz=40.0, stop_hz=8000.0, seconds=0.49 * shortest_s))


def test_a_sweep_of_a_file_is_played_at_its_drive():
    sweep = Sweep(seconds=1.0)
    given = {name: getattr(sweep, name) for name in Sweep.__dataclass_fields__} | {"drive_dbfs": -26.0}
    digest = hold_samples([0.1, 0.2])
    made = SampledSweep(**given, n_given=2, fitted_rate_s=0.13, filed_dbfs=-20.0, samples_sha256=digest)
    np.testing.assert_allclose(made.samples(), np.array([0.1, 0.2]) * 10.0**-0.3, rtol=1e-12)
    assert (made.n_samples, made.rate_s, made.held) == (2, 0.13, True)
    with pytest.raises(SignalError, match="were not given"):
        SampledSweep(**given, n_given=2, fitted_rate_s=0.13, filed_dbfs=-20.0, samples_sha256="0" * 64).samples()
    for wrong in ({"n_given": 0}, {"fitted_rate_s": 0.0}):
        fields = {"n_given": 2, "fitted_rate_s": 0.13, "filed_dbfs": -20.0, "samples_sha256": digest} | wrong
        assert not passes(lambda fields=fields: SampledSweep(**given, **fields))
