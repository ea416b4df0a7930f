"""Change of response against the reference level: closed forms, noise, takes, drift and heating."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.compression.change import compression, sweep_output
from distort.analysis.compression.curves import LevelStep, Repeat
from distort.analysis.compression.take_scatter import take_scatter
from distort.analysis.sweep.sweeps import Reference, Settings, read_sweep
from distort.errors import AnalysisError
from signals import Sweep
from tests.devices.heated_coil import HeatedCoil
from tests.devices.ladder import HZ, flat_output, output_of, rung_at, sweep_at
from tests.devices.memoryless import sweep_with_harmonics
from tests.devices.takes import take

FROM_25_HZ = HZ > 24.9
READABLE_AT_12_KHZ = FROM_25_HZ & (HZ < 5000.0)
LEVELS = (76.0, 86.0, 96.0, 102.0)


def cubic_gain(a3: float, drive_dbfs: float) -> tuple[float, float]:
    """Gain and third harmonic of y = x + a3 x^3 for a sine: `1 + 3/4 a3 A^2`, `a3 A^2 / 4` (multiple angles)."""
    strength = a3 * 10 ** (drive_dbfs / 10)
    return 1 + 0.75 * strength, 0.25 * strength


@pytest.mark.parametrize("a3", [-0.389406 * 10**0.8, 0.2])
def test_a_cubic_changes_as_its_closed_form_says(a3):
    """Within 0.02 dB from 25 Hz at every level; the first a3 compresses by 3 dB at 102 dB, the second expands."""

    def answer(sweep: Sweep):
        gain, third = cubic_gain(a3, sweep.drive_dbfs)
        return sweep_with_harmonics(sweep, {1: gain, 3: third})

    found = compression(HZ, [rung_at(level, answer) for level in LEVELS])
    reference, _ = cubic_gain(a3, found.levels[0].drive_dbfs)
    for level in found.levels:
        gain, _ = cubic_gain(a3, level.drive_dbfs)
        expected = 20 * np.log10(gain / reference)
        assert np.max(np.abs(level.change_db - expected)[FROM_25_HZ]) < 0.005  # 0.02 is asked for; 0.001 is reached
    if a3 < 0:
        assert found.levels[-1].change_db[120] == pytest.approx(-3.0, abs=0.01)  # 0.389406: 3 dB, computed elsewhere


def test_a_gain_step_between_two_rungs_is_found():
    """A digital gain that falls by 1 dB above 90 dB, within 0.01 dB."""
    found = compression(
        HZ,
        [
            rung_at(level, lambda sweep: sweep.samples() * (10**-0.05 if sweep.drive_dbfs > -20 else 1))
            for level in LEVELS
        ],
    )
    for level, expected in zip(found.levels, (0.0, 0.0, -1.0, -1.0), strict=True):
        assert np.max(np.abs(level.change_db - expected)[FROM_25_HZ]) < 0.001


LOOKED_AT = np.flatnonzero(np.isin(np.arange(HZ.size), np.arange(16, 217, 24)))
"""Octave midbands from 31.6 Hz to 7.9 kHz."""


def trials(count: int, *, first_seed: int, sample_rate: int):
    """Errors and stated half-widths of the change from 76 to 86 dB, `(trials, frequencies)` each.

    White noise 40 dB below the sweep of the reference level.
    """
    sweeps = [sweep_at(level, sample_rate=sample_rate) for level in (76.0, 86.0)]
    noise = 10 ** (sweeps[0].drive_dbfs / 20) * np.sqrt(0.5) * 1e-2
    errors, widths = [], []
    for seed in range(first_seed, first_seed + count):
        rungs = [
            LevelStep(
                level_db_spl=76.0 + index,
                time_s=index,
                output=output_of(sweep.samples(), sweep, noise=noise, seed=2 * seed + index),
            )
            for index, sweep in enumerate(sweeps)
        ]
        change = compression(HZ, rungs).levels[1]
        errors.append(change.change_db)
        widths.append(change.uncertainty_db)
    readable = LOOKED_AT[HZ[LOOKED_AT] < 0.4 * sample_rate]
    return np.array(errors)[:, readable], np.array(widths)[:, readable], HZ[readable]


def coverage(errors, widths):
    """How many of the intervals hold the truth, and their median width re the constant one that would just do."""
    held = np.sum(np.abs(errors) <= widths, axis=0)
    ideal = np.quantile(np.abs(errors), 0.95, axis=0)
    return held, np.median(widths, axis=0) / ideal


@pytest.mark.sample
def test_intervals_hold_the_truth_as_often_as_stated():
    """100 seeded trials at six frequencies, a sweep at 12 kHz: 90 to 99 of 100 each (binomial, 2.3 s.d.), and 93 to
    97 % of all together."""
    errors, widths, _ = trials(100, first_seed=1000, sample_rate=12000)
    held, width = coverage(errors, widths)
    assert np.all((held >= 90) & (held <= 99))
    assert 0.93 <= np.mean(held) / 100 <= 0.97
    assert np.max(width) < 1.3


@pytest.mark.study
def test_study_of_the_intervals_of_the_change():
    """200 seeded trials at 48 kHz: 183 to 197 hold the truth at each octave midband, widths within 1.3 of the ideal."""
    errors, widths, at_hz = trials(200, first_seed=0, sample_rate=48000)
    held, width = coverage(errors, widths)
    print("\n      Hz  held of 200  median half-width dB  re ideal")
    for row, hz in enumerate(at_hz):
        print(f"{hz:8.1f}  {held[row]:11d}  {np.median(widths[:, row]):20.4f}  {width[row]:8.2f}")
    assert np.all((held >= 183) & (held <= 197))
    assert np.max(width) < 1.3


def test_four_takes_halve_the_interval():
    sweep = sweep_at(86.0, sample_rate=12000)
    one, four = (output_of(sweep.samples(), sweep, noise=1e-3, takes=takes) for takes in (1, 4))
    rows = READABLE_AT_12_KHZ
    assert np.sqrt(np.median((four.variance / one.variance)[rows])) == pytest.approx(0.5, abs=0.01)  # silences scatter


def test_an_analysed_sweep_becomes_an_output():
    """A wire that loses 2 dB, where full scale is 110 dB SPL: 76 - 2 dB SPL at a drive of -34 dBFS."""
    sweep = sweep_at(76.0)
    read = read_sweep([take(sweep.samples() * 10**-0.1)], sweep, Settings(orders=2))
    output = sweep_output(read, Reference(offset_db=110.0, unit="db_spl"))
    assert output.drive_dbfs == pytest.approx(-34.0)
    assert output.level_db[FROM_25_HZ] == pytest.approx(74.0, abs=0.002)
    assert output.gain_db[FROM_25_HZ] == pytest.approx(108.0, abs=0.002)
    assert np.isnan(output.variance).all()  # no silence was recorded


def test_scatter_of_takes_widens_the_interval():
    """Takes whose gain differs by 0.2 dB s.d.: about 95 % of the intervals hold the truth, though noise is nothing.

    400 ladders of four levels with two takes each: 380 +- 9 (2 s.d. of the binomial); flat over frequency.
    """
    random = np.random.default_rng(5)
    held = 0
    for _ in range(400):
        rungs = []
        for level in LEVELS:
            takes_db = flat_output(level).level_db + random.normal(0.0, 0.2, (2, 1))
            output = replace(flat_output(level), level_db=takes_db.mean(axis=0))
            rungs.append(LevelStep(level_db_spl=level, time_s=level, output=output, takes_db=takes_db))
        change = compression(HZ, rungs).levels[2]
        held += abs(change.change_db[0]) <= change.uncertainty_db[0]
    assert 371 <= held <= 389


def test_takes_that_scatter_as_noise_explains_add_almost_nothing():
    """Noise of 0.2 dB s.d. a take, independent from row to row, is in the noise interval already."""
    random = np.random.default_rng(6)
    rungs = []
    for level in LEVELS:
        takes_db = flat_output(level).level_db + random.normal(0.0, 0.2, (2, HZ.size))
        output = replace(flat_output(level, sigma_db=0.2 / np.sqrt(2)), level_db=takes_db.mean(axis=0))
        rungs.append(LevelStep(level_db_spl=level, time_s=level, output=output, takes_db=takes_db))
    change = compression(HZ, rungs).levels[3]
    from_noise = 1.96 * 0.2  # two means of two takes each
    assert np.min(change.uncertainty_db) >= from_noise - 1e-4
    assert np.median(change.uncertainty_db) < 1.3 * from_noise


def drifting_ladder(drift_db):
    """Four levels half a minute apart and the reference again 120 s after its first time, all exactly linear.

    drift_db(t) is the gain at t seconds, which goes on changing within each sweep.
    """

    def output(level, time_s):
        sweep = sweep_at(level, sample_rate=12000)
        time = time_s + np.arange(sweep.n_samples) / sweep.sample_rate
        return output_of(sweep.samples() * 10 ** (drift_db(time) / 20), sweep)

    rungs = [
        LevelStep(level_db_spl=level, time_s=30.0 * index, output=output(level, 30.0 * index))
        for index, level in enumerate(LEVELS)
    ]
    return compression(HZ, rungs, [Repeat(time_s=120.0, rested=True, output=output(LEVELS[0], 120.0))])


def test_linear_drift_is_reported_and_leaves_the_corrected_change_alone():
    """0.5 dB over the ladder: `change` keeps it, `drift_db` states it, `corrected` is within 0.02 dB of nothing."""
    found = drifting_ladder(lambda time_s: 0.5 * time_s / 120.0)
    rows = READABLE_AT_12_KHZ
    assert found.repeated == "rested"
    assert found.drift_db[rows] == pytest.approx(0.5, abs=0.01)
    assert np.all(np.isnan(found.heating_db))
    for level, share in zip(found.levels, (0.0, 0.25, 0.5, 0.75), strict=True):
        assert level.change_db[rows] == pytest.approx(0.5 * share, abs=0.01)
        assert np.max(np.abs(level.corrected_db[rows])) < 0.02


@pytest.mark.parametrize("tau_s", [50.0, 120.0, 360.0])
def test_exponential_drift_leaves_a_quarter_at_most(tau_s):
    """0.5 dB that approaches its end exponentially: `corrected` within 0.15 dB of nothing."""
    found = drifting_ladder(lambda time_s: -0.5 * np.expm1(-time_s / tau_s) / -np.expm1(-120.0 / tau_s))
    for level in found.levels:
        assert np.max(np.abs(level.corrected_db[READABLE_AT_12_KHZ])) < 0.15


def test_two_rested_repeats_follow_drift_that_turns():
    """Straight lines between them: a drift of 0.4 dB up in the first minute and down in the second is taken off."""
    drift = {0.0: 0.0, 30.0: 0.2, 60.0: 0.4, 90.0: 0.2, 120.0: 0.0}
    rungs = [
        LevelStep(level_db_spl=level, time_s=time_s, output=flat_output(level, drift[time_s]))
        for level, time_s in zip(LEVELS, (0.0, 30.0, 90.0, 120.0), strict=True)
    ]
    repeats = [Repeat(time_s=t, rested=True, output=flat_output(76.0, drift[t])) for t in (120.0, 60.0)]
    found = compression(HZ, rungs, repeats)
    assert [level.change_db[0] for level in found.levels] == pytest.approx([0.0, 0.2, 0.2, 0.0])
    assert [level.corrected_db[0] for level in found.levels] == pytest.approx([0.0, 0.0, 0.0, 0.0])


def test_uncertainties_of_drift_heating_and_correction_add_as_variances():
    """Half way between references of 0.1 and 0.2 dB s.d. the reference has `0.25 x 0.01 + 0.25 x 0.04` dB squared."""
    rungs = [
        LevelStep(level_db_spl=level, time_s=time_s, output=flat_output(level, sigma_db=0.1))
        for level, time_s in ((76.0, 0.0), (86.0, 50.0))
    ]
    repeats = [
        Repeat(time_s=70.0, rested=False, output=flat_output(76.0, -0.4, sigma_db=0.1)),
        Repeat(time_s=60.0, rested=False, output=flat_output(76.0, -0.9, sigma_db=0.1)),
        Repeat(time_s=100.0, rested=True, output=flat_output(76.0, 0.2, sigma_db=0.2)),
    ]
    found = compression(HZ, rungs, repeats)
    half_width = 1.96 * np.sqrt(0.01 + 0.25 * 0.01 + 0.25 * 0.04)
    assert found.levels[1].corrected_uncertainty_db[0] == pytest.approx(half_width, rel=1e-4)
    assert found.levels[1].uncertainty_db[0] == pytest.approx(1.96 * np.sqrt(0.02), rel=1e-4)
    assert found.drift_uncertainty_db[0] == pytest.approx(1.96 * np.sqrt(0.05), rel=1e-4)
    assert found.heating_db[0] == pytest.approx(-0.4)  # the last hot repeat
    assert found.heating_uncertainty_db[0] == pytest.approx(1.96 * np.sqrt(0.02), rel=1e-4)
    assert [one.time_s for one in found.repeats] == [60.0, 70.0, 100.0]


def test_scatter_is_pooled_by_degrees_of_freedom():
    """Two takes of variance 0.02 and three of 0.09 dB squared: (0.02 + 2 x 0.09) / 3, by hand."""
    two, three = (np.array(gains)[:, None] + np.zeros(HZ.size) for gains in ([0.1, -0.1], [0.3, 0.0, -0.3]))
    found = take_scatter(HZ, [(two, np.zeros(HZ.size)), (three, np.zeros(HZ.size)), (None, np.zeros(HZ.size))])
    assert found.freedom == 3
    assert found.excess == pytest.approx(0.2 / 3)


def test_drift_is_never_extrapolated():
    """A level played after the last rested repeat has no corrected change."""
    rungs = [LevelStep(level_db_spl=level, time_s=level, output=flat_output(level)) for level in LEVELS]
    found = compression(HZ, rungs, [Repeat(time_s=97.0, rested=True, output=flat_output(76.0, 0.1))])
    assert np.isfinite(found.levels[2].corrected_db).all()
    assert np.isnan(found.levels[3].corrected_db).all()
    without = compression(HZ, rungs)
    assert without.repeated == "no"
    assert np.isnan(without.levels[1].corrected_db).all()
    assert np.isnan(without.drift_db).all()


def heated_ladder():
    """A coil that is 25 to 100 K warm at 102 dB: cold reference, three levels after 60 s of rest each, the reference
    at once, and again after 20 minutes. Also the gain that each run's coil had when the sweep passed each row."""
    rate = 12000
    coil = HeatedCoil(rate)
    clock = 0.0
    outputs, gains, times = [], [], []
    for level, rest_s in [(76.0, 0), (86.0, 60), (96.0, 60), (102.0, 60), (76.0, 0), (76.0, 1200)]:
        coil.rest(rest_s)
        clock += rest_s
        sweep = sweep_at(level, sample_rate=rate)
        answer, gain_db = coil.play(sweep.samples())
        outputs.append(output_of(answer, sweep))
        gains.append(np.interp(sweep.time_s(HZ) * rate, np.arange(gain_db.size), gain_db))
        times.append(clock)
        clock += sweep.duration_s
    rungs = [
        LevelStep(level_db_spl=level, time_s=times[index], output=outputs[index]) for index, level in enumerate(LEVELS)
    ]
    repeats = [
        Repeat(time_s=times[4], rested=False, output=outputs[4]),
        Repeat(time_s=times[5], rested=True, output=outputs[5]),
    ]
    return compression(HZ, rungs, repeats), np.array(gains)


def test_a_coil_heated_by_the_stimulus_keeps_its_compression():
    """Time constants 10 s and 60 s: `change`, and `corrected` too, are the gain that the warm coil had at that moment;
    the result says that heating is included; the hot repeat shows it and the rested one does not."""
    found, gains = heated_ladder()
    rows = READABLE_AT_12_KHZ & (HZ > 40.0)
    assert found.repeated == "hot and rested"
    assert found.includes_heating
    assert np.min(gains[3][rows]) < -1.0  # enough heat to be looked for
    for level, gain_db in zip(found.levels, gains, strict=False):
        assert level.change_db[rows] == pytest.approx((gain_db - gains[0])[rows], abs=0.02)
        assert level.corrected_db[rows] == pytest.approx((gain_db - gains[0])[rows], abs=0.02)
    assert found.heating_db[rows] == pytest.approx((gains[4] - gains[0])[rows], abs=0.02)
    assert np.max(found.heating_db[rows]) < -0.2
    assert np.max(np.abs(found.drift_db[rows])) < 0.02


def test_the_bias_is_the_short_change_less_the_long_one():
    short = [flat_output(level, -0.3 * (level > 90)) for level in LEVELS]
    rungs = [
        LevelStep(
            level_db_spl=level, time_s=level, output=flat_output(level, -0.2 * (level > 90), sigma_db=0.1), short=one
        )
        for level, one in zip(LEVELS, short, strict=True)
    ]
    found = compression(HZ, rungs)
    assert found.levels[1].bias_db[0] == pytest.approx(0.0)
    assert found.levels[2].bias_db[0] == pytest.approx(-0.1)
    assert found.levels[2].bias_uncertainty_db[0] == pytest.approx(1.96 * 0.1 * np.sqrt(2), rel=1e-4)
    no_short_reference = [replace(rungs[0], short=None), *rungs[1:]]
    assert np.isnan(compression(HZ, no_short_reference).levels[2].bias_db).all()


def test_what_cannot_be_compared_is_refused():
    rung = LevelStep(level_db_spl=76.0, time_s=10.0, output=flat_output(76.0))
    with pytest.raises(AnalysisError, match="at least two levels"):
        compression(HZ, [])
    with pytest.raises(AnalysisError, match="two rungs have the level 76 dB"):
        compression(HZ, [rung, rung])
    turned = replace(flat_output(86.0), drive_dbfs=float("nan"))
    with pytest.raises(AnalysisError, match="how much the volume was turned"):
        compression(HZ, [rung, LevelStep(level_db_spl=86.0, time_s=20.0, output=turned)])
    with pytest.raises(AnalysisError, match="before it was first played"):
        compression(HZ, [rung], [Repeat(time_s=0.0, rested=True, output=flat_output(76.0))])
    with pytest.raises(AnalysisError, match="different frequencies"):
        compression(HZ[:-1], [rung])
    alone = compression(HZ, [rung])
    assert not alone.includes_heating
    assert np.all(alone.levels[0].change_db == 0.0)
