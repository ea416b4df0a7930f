"""Clocks, settling and results of multitones on closed forms at a low sample rate, each rule just on either side."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy

from distort.analysis.common.interpolation import BLOCK, values_at
from distort.analysis.multitone.clock import _Correction, on_players_clock, without_wander_in_periods
from distort.analysis.multitone.curves import ClockFound
from distort.analysis.multitone.powers import BandPowers, LinePowers
from distort.analysis.multitone.reading import MultitoneReadings
from distort.analysis.multitone.settling import LevelTrack, period_levels, settling_fit
from distort.errors import AnalysisError
from signals import Multitone
from tests.devices.multitones import heard_at

RATE = 8192
TONE = Multitone(low_hz=100.0, high_hz=3600.0, lines_per_decade=8.0, period_s=0.5, sample_rate=RATE, periods=12)
N = TONE.period_samples
START = 300


def heard(*, ppm=0.0, late=None, start=float(START), noise=0.0, tone=TONE, seed=1) -> np.ndarray:
    """The multitone by a clock `ppm` fast, which comes later by `late(periods after its first sample)` samples."""
    stretch = 1.0 + 1e-6 * ppm
    place = np.arange(math.ceil((start + tone.n_samples) * stretch) + 200) / stretch - start
    if late is not None:
        place = place - late(place / tone.period_samples)
    samples = heard_at(tone, place)
    return samples + noise * np.random.default_rng(seed).standard_normal(samples.size)


# --- interpolation ----------------------------------------------------------------------------------------------------


def test_values_between_samples_are_those_of_the_tone():
    """Up to 0.9 of half the sample rate within 1e-7 of amplitude (Kaiser's design), also across blocks."""
    place = np.arange(BLOCK + 5000)
    for turns in (0.01, 0.2, 0.449):
        at = 200.0 + 1.00001 * np.arange(BLOCK + 4000)
        found = values_at(np.cos(2 * np.pi * turns * place + 0.4), at)
        np.testing.assert_allclose(found, np.cos(2 * np.pi * turns * at + 0.4), atol=3e-7)


def test_at_whole_samples_they_are_the_samples_and_outside_nothing():
    samples = np.random.default_rng(1).standard_normal(500)
    np.testing.assert_allclose(values_at(samples, np.arange(500.0)), samples, atol=1e-9)
    np.testing.assert_allclose(values_at(samples, np.arange(-200.0, -100.0)), 0.0, atol=1e-12)
    # one sample alone is a windowed sinc: pi/2 wide, sin(pi/2) / (pi/2) half a sample off
    alone = np.zeros(400)
    alone[200] = 1.0
    assert values_at(alone, np.array([199.5, 200.5])) == pytest.approx([2 / np.pi, 2 / np.pi], abs=1e-3)
    # it is heard 64 samples to either side: there the window is down to 1e-5 and the sinc to 3e-3
    beside = np.abs(values_at(alone, np.arange(400) + 0.25)) > 1e-10
    np.testing.assert_array_equal(beside, np.abs(np.arange(400) - 200) <= 64)


# --- the clock --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("told_off_by", [0.0, 0.2, math.nan])
def test_a_constant_difference_is_found_to_a_hundred_thousandth_of_a_ppm(told_off_by):
    steady = on_players_clock(heard(ppm=40.0), TONE, start=START * (1 + 40e-6), clock_difference_ppm=40.0 + told_off_by)
    assert steady.difference_ppm == pytest.approx(40.0, abs=1e-5)
    assert steady.repaired
    first = steady.first
    # 0.003 ppm may be left, over some periods 1e-4 samples: 0.3 % of a turn at 3.6 kHz, of lines of 0.02
    np.testing.assert_allclose(steady.samples[first : first + N], TONE.period(), atol=1e-5)
    assert steady.late_samples == 0.0
    assert steady.wander_ppm == 0.0


@pytest.mark.parametrize(("ppm", "repaired"), [(0.0028, False), (-0.0032, True)])
def test_a_difference_under_three_thousandths_of_a_ppm_is_left_to_the_phases(ppm, repaired):
    """Of -120 dB within a block. What is left over the periods, `1e-6 ppm N` samples each, is told."""
    steady = on_players_clock(heard(ppm=ppm), TONE, start=float(START), clock_difference_ppm=ppm)
    assert steady.repaired == repaired
    assert steady.difference_ppm == pytest.approx(ppm, abs=1e-5)
    left = np.diff(steady.period_delays)
    np.testing.assert_allclose(left, 0.0 if repaired else ppm * 1e-6 * N, atol=1e-8)
    assert steady.period_delays.size == TONE.periods
    assert np.mean(steady.period_delays) == pytest.approx(0.0, abs=1e-12)


def test_an_unrepaired_recording_is_read_at_whole_samples():
    """0.3 samples behind its true start, which is told."""
    steady = on_players_clock(heard(start=START - 0.3), TONE, start=START - 0.3)
    assert steady.late_samples == pytest.approx(0.3)
    assert not steady.repaired
    assert steady.samples.size == (TONE.periods + 1) * N  # and one period of settling, so that a path has no end
    assert steady.first == N


@pytest.mark.parametrize(("share", "repaired"), [(0.97, False), (1.03, True)])
def test_wander_of_a_ten_thousandth_of_a_sample_is_harmless(share, repaired):
    """r.m.s. over the tracked periods, about a straight line. A swing over four periods has the mean over one of them
    `sinc(1/4)` times its value in the middle; lines without noise know it to 1e-8."""
    middle = np.arange(1, 14) + 0.5  # the last settling period, and twelve
    delay = np.sinc(0.25) * np.sin(2 * np.pi * middle / 4.0 + 0.3)
    left = delay - np.polyval(np.polyfit(middle, delay, 1), middle)
    size = share * 1e-4 / np.sqrt(np.mean(left**2))
    steady = on_players_clock(heard(late=lambda t: size * np.sin(2 * np.pi * t / 4.0 + 0.3)), TONE, start=float(START))
    assert steady.repaired == repaired


def test_a_silent_recording_has_no_clock():
    with pytest.raises(AnalysisError, match="silent where the multitone should be"):
        on_players_clock(np.zeros(heard().size), TONE, start=float(START))


def test_a_correction_has_its_rate_from_its_first_instant_to_its_last():
    """The delay 3 t, followed from 1 to 4 periods and held outside: a rate of 3 there, both ends with it."""
    line = scipy.interpolate.make_interp_spline(np.arange(6.0), 3.0 * np.arange(6.0), k=3)
    correction = _Correction(line, 1.0, 4.0)
    periods = np.array([0.5, 1.0, 2.5, 4.0, 4.5])
    np.testing.assert_allclose(correction.rate(periods), [0.0, 3.0, 3.0, 3.0, 0.0], atol=1e-12)
    np.testing.assert_allclose(correction(periods), [3.0, 3.0, 7.5, 12.0, 12.0], atol=1e-12)


def test_slow_wander_is_followed_and_its_rate_told():
    """A swing of 0.05 samples over 6 periods: rate `2 pi 0.05 / (6 N)` at its peak, r.m.s. over sqrt 2; 10 % for the
    ends of 13 periods and what a mean over a period smooths."""
    steady = on_players_clock(heard(late=lambda t: 0.05 * np.sin(2 * np.pi * t / 6.0)), TONE, start=float(START))
    assert steady.repaired
    expected_ppm = 1e6 * 2 * np.pi * 0.05 / (6 * N) / math.sqrt(2.0)
    assert steady.wander_ppm == pytest.approx(expected_ppm, rel=0.1)
    periods = steady.samples[steady.first :].reshape(-1, N)[2:-2]
    unrepaired = heard(late=lambda t: 0.05 * np.sin(2 * np.pi * t / 6.0))[START + 2 * N :][: 12 * N].reshape(-1, N)[
        2:-2
    ]
    assert np.max(np.std(periods, axis=0)) < 0.02 * np.max(np.std(unrepaired, axis=0))


def test_wander_within_noise_is_left_alone():
    """Noise strays the delay of a period by sigma; five times that is asked for."""
    alone = on_players_clock(heard(noise=3e-3), TONE, start=float(START))
    assert alone.wander_ppm == 0.0
    waving = heard(noise=3e-3, late=lambda t: 0.2 * np.sin(2 * np.pi * t / 5.0))
    assert on_players_clock(waving, TONE, start=float(START)).wander_ppm > 0.0


def test_one_line_that_strays_is_not_trusted():
    """A line whose phase jumps about from period to period by 0.4 radian: the others alone tell the clock. With equal
    trust it would move the delay of its periods by 0.4 times its weight, the largest of all."""
    random = np.random.default_rng(5)
    samples = heard()
    bins, amplitude, phase = TONE.line_bins[-1], TONE.line_amplitudes[-1], TONE.line_phases_rad[-1]
    turns = np.arange(samples.size - START) / N
    angle = 0.4 * random.choice([-1.0, 1.0], size=20)[np.minimum(turns.astype(int), 19)]
    plain = amplitude * np.cos(2 * np.pi * bins * turns + phase)
    samples[START:] += amplitude * np.cos(2 * np.pi * bins * turns + phase + angle) - plain
    steady = on_players_clock(samples, TONE, start=float(START))
    weight = np.square(TONE.line_bins.astype(float))
    moved = 0.4 * weight[-1] / weight.sum() / (2 * np.pi * bins / N)  # samples, were all lines trusted alike
    assert np.std(steady.period_delays) < 0.1 * moved


def test_lines_that_do_not_go_on_are_refused_with_their_moment():
    samples = heard()
    place = START + round(7.4 * N)
    with pytest.raises(AnalysisError, match=r"about 4 s into the multitone its lines do not go on"):
        on_players_clock(np.delete(samples, slice(place, place + 30)), TONE, start=float(START))


def test_a_recording_must_hold_all_periods():
    samples = heard()
    end = START + (TONE.settling_periods + TONE.periods) * N
    on_players_clock(samples[:end], TONE, start=float(START))
    with pytest.raises(AnalysisError, match="it was cut off"):
        on_players_clock(samples[: end - 1], TONE, start=float(START))
    # of the settling time one period is looked at: the others may be missing
    on_players_clock(samples[START + N :], TONE, start=float(-N))
    with pytest.raises(AnalysisError, match="it was cut off"):
        on_players_clock(samples[START + N + 1 :], TONE, start=float(-N - 1))
    bare = replace(TONE, settling_periods=0)
    on_players_clock(heard(tone=bare, start=0.0)[: 12 * N], bare, start=0.0)
    high = Multitone(low_hz=2100.0, high_hz=3600.0, lines_per_decade=8.0, period_s=0.5, sample_rate=RATE, periods=12)
    with pytest.raises(AnalysisError, match="no two lines low enough"):
        on_players_clock(heard(tone=high), high, start=float(START), clock_difference_ppm=math.nan)


def test_fast_wander_is_followed_within_the_periods():
    """A swing of 1.7 periods, which the means over periods hardly see: what is left is a fiftieth."""
    late = heard(late=lambda t: 0.02 * np.sin(2 * np.pi * t / 1.7))
    steady = on_players_clock(late, TONE, start=float(START))
    calmer = without_wander_in_periods(late, TONE, steady)
    apart = [
        np.std(one.samples[one.first + 4 * N :][:N] - one.samples[one.first + 5 * N :][:N]) for one in (steady, calmer)
    ]
    assert apart[1] < 0.02 * apart[0]
    still = on_players_clock(heard(), TONE, start=float(START))
    assert without_wander_in_periods(heard(), TONE, still) is still


# --- settling ---------------------------------------------------------------------------------------------------------


def track(change_db, *, step_s=0.5) -> LevelTrack:
    change = np.asarray(change_db, dtype=float)
    middles_s = (np.arange(change.size) + 0.5) * step_s
    return LevelTrack(low_hz=20.0, high_hz=200.0, time_s=middles_s, span_s=step_s, change_db=change)


def exponential(depth, tau, end=0.3, *, points=18, step_s=0.5) -> np.ndarray:
    """Its mean over every step, by the integral."""
    edges = np.exp(-np.arange(points + 1) * step_s / tau)
    return end - depth * tau / step_s * (edges[:-1] - edges[1:])


@pytest.mark.parametrize(("depth", "tau"), [(-2.0, 1.5), (0.7, 4.0), (3.0, 0.4)])
def test_an_exponential_is_fitted_exactly(depth, tau):
    found = settling_fit(track(exponential(depth, tau)))
    assert found.settling.time_constant_s == pytest.approx(tau, rel=1e-3)  # where the search ends
    assert found.whole_db == pytest.approx(depth, rel=1e-3)
    assert found.end_db == pytest.approx(0.3, abs=1e-3)
    assert found.settling.depth_db == pytest.approx(depth * (1.0 - np.exp(-9.0 / tau)), rel=1e-3)
    assert found.residual_db < 1e-3
    assert (found.settling.low_hz, found.settling.high_hz) == (20.0, 200.0)


def test_time_constants_are_sought_from_half_a_step_to_four_lengths():
    """17 steps of 0.5 s: from 0.25 to 34 s; or within the bounds given."""
    straight = settling_fit(track(np.linspace(0.0, 1.0, 18)))
    assert straight.settling.time_constant_s == pytest.approx(4.0 * 8.5, rel=0.02)
    spike = settling_fit(track(np.where(np.arange(18) == 0, 1.0, 0.0)))
    assert spike.settling.time_constant_s == pytest.approx(0.25, rel=0.02)
    # shorter than the steps can tell: the first one's mean, 1 dB above the others, is counted and nothing before it;
    # the fit leaves some of the spike, as an exponential of half a step spills 0.14 of itself into the next step
    assert spike.settling.depth_db == pytest.approx(-1.0, abs=0.05)
    bounded = settling_fit(track(exponential(1.0, 3.0)), shortest_s=0.5, longest_s=1.0)
    assert bounded.settling.time_constant_s == pytest.approx(1.0, rel=0.02)
    bounded = settling_fit(track(exponential(1.0, 3.0)), shortest_s=6.0, longest_s=9.0)
    assert bounded.settling.time_constant_s == pytest.approx(6.0, rel=0.02)


def test_the_depth_scatters_as_stated():
    """80 seeded tracks in noise: 95 % intervals hold the truth in 70 at least (of 76 expected, p = 0.005), and are no
    wider than 1.5 times the scatter asks for."""
    random = np.random.default_rng(1)
    found = [settling_fit(track(exponential(-2.0, 2.0) + 0.05 * random.standard_normal(18))) for _ in range(80)]
    errors = np.array([one.whole_db + 2.0 for one in found])
    stated = np.array([one.settling.uncertainty_db for one in found])
    assert np.count_nonzero(np.abs(errors) <= stated) >= 70
    assert np.median(stated) < 1.5 * 1.959964 * np.std(errors)
    # by hand: what scatters about three fitted numbers, 15 degrees of freedom
    assert np.mean([one.residual_db**2 for one in found]) == pytest.approx(0.05**2 * 15 / 18, rel=0.1)
    assert all(one.significant for one in found)


def test_few_points():
    """Four can be fitted, but nothing says how well; five say it."""
    four, five = (settling_fit(track(exponential(1.0, 1.0, points=points))) for points in (4, 5))
    assert math.isnan(four.settling.uncertainty_db)
    assert not four.significant
    assert five.settling.uncertainty_db < 0.1
    with pytest.raises(AnalysisError, match="3 points are too few"):
        settling_fit(track([1.0, 0.5, 0.2]))


LOW, HIGH = (100.0, 600.0), (600.0, 3600.0)


def test_levels_of_the_lines_from_period_to_period():
    """The lines of a band lose 1 dB from the third period on: re the mean of all 14, in power. The fade-in, 5 ms of the
    first, is made good."""
    samples = TONE.samples()
    low = TONE.line_hz < 600.0
    part = np.zeros(N, dtype=float)
    turns = np.arange(N) / N
    for b, a, p in zip(TONE.line_bins[low], TONE.line_amplitudes[low], TONE.line_phases_rad[low], strict=True):
        part += a * np.cos(2 * np.pi * b * turns + p)
    samples[2 * N : 14 * N] -= (1.0 - 10.0**-0.05) * np.tile(part, 12)
    first, second = period_levels(np.pad(samples, 40), TONE, start=40.2, bands=[LOW, HIGH])
    mean = (2.0 + 12.0 * 10.0**-0.1) / 14.0
    expected = 10 * np.log10(np.where(np.arange(14) < 2, 1.0, 10.0**-0.1) / mean)
    np.testing.assert_allclose(first.change_db, expected, atol=1e-6)
    np.testing.assert_allclose(second.change_db, 0.0, atol=1e-6)
    np.testing.assert_allclose(first.time_s, (np.arange(14) + 0.5) * 0.5)
    end = 40 + 14 * N
    period_levels(np.pad(samples, 40)[:end], TONE, start=40.0, bands=[LOW])
    for wrong, start in ((np.pad(samples, 40)[: end - 1], 40.0), (samples, -1.0)):
        with pytest.raises(AnalysisError, match="does not hold the whole"):
            period_levels(wrong, TONE, start=start, bands=[LOW])


# --- hum --------------------------------------------------------------------------------------------------------------


# --- results ----------------------------------------------------------------------------------------------------------

BANDS_HZ = np.array([100.0, 1000.0, 5000.0])


def readings(**given: float) -> MultitoneReadings:
    """Powers by hand in three bands, of which the last holds no line."""
    columns = dict.fromkeys(BandPowers.__dataclass_fields__, 0.0) | {"even": 4e-4, "odd": 9e-4, "noise": 1e-5} | given
    bands = {name: np.full(3, columns[name]) for name in BandPowers.__dataclass_fields__}
    bands["frequency_hz"] = BANDS_HZ
    bands["lines"] = np.array([1.0, 1.0, 0.0]) * given.get("lines", 0.08)
    lines = LinePowers(
        gain=np.full(TONE.line_bins.size, given.get("gain", 0.5) + 0j),
        noise=np.full(TONE.line_bins.size, 1e-8),
        odd=np.full(TONE.line_bins.size, 1e-7),
    )
    clock = ClockFound(difference_ppm=0.0, wander_ppm=given.get("even_wander", 0.0), repaired=False, fast_wander=False)
    return MultitoneReadings(tone=TONE, bands=BandPowers(**bands), lines=lines, clock=clock)


def db(power: float) -> float:
    return 10.0 * math.log10(power)
