"""Clocks, settling and results of multitones on closed forms at a low sample rate, each rule just on either side."""

import math
from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.interpolation import BLOCK, values_at
from distort.analysis.multitone.clock import on_players_clock, without_wander_in_periods
from distort.analysis.multitone.curves import ClockFound
from distort.analysis.multitone.powers import BandPowers, LinePowers
from distort.analysis.multitone.reading import MultitoneReadings, MultitoneTake, multitone_result, read_multitone
from distort.analysis.multitone.steady_sounds import steady_sounds
from distort.analysis.multitone.time import LevelTrack, onset, period_levels, settling
from distort.analysis.sweep.sweeps import Reference
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
    return LevelTrack(low_hz=20.0, high_hz=200.0, time_s=(np.arange(change.size) + 0.5) * step_s, change_db=change)


def exponential(depth, tau, end=0.3, *, points=18, step_s=0.5) -> np.ndarray:
    return end - depth * np.exp(-(np.arange(points) + 0.5) * step_s / tau)


@pytest.mark.parametrize(("depth", "tau"), [(-2.0, 1.5), (0.7, 4.0), (3.0, 0.4)])
def test_an_exponential_is_fitted_exactly(depth, tau):
    found = settling(track(exponential(depth, tau)))
    assert found.time_constant_s == pytest.approx(tau, rel=1e-3)  # where the search ends
    assert found.depth_db == pytest.approx(depth, rel=1e-3)
    assert found.end_db == pytest.approx(0.3, abs=1e-3)
    assert found.within_db == pytest.approx(depth * (np.exp(-0.25 / tau) - np.exp(-8.75 / tau)), rel=1e-3)
    assert found.residual_db < 1e-3
    assert (found.low_hz, found.high_hz) == (20.0, 200.0)


def test_time_constants_are_sought_from_half_a_step_to_four_lengths():
    """17 steps of 0.5 s: from 0.25 to 34 s; or within the bounds given."""
    straight = settling(track(np.linspace(0.0, 1.0, 18)))
    assert straight.time_constant_s == pytest.approx(4.0 * 8.5, rel=0.02)
    spike = settling(track(np.where(np.arange(18) == 0, 1.0, 0.0)))
    assert spike.time_constant_s == pytest.approx(0.25, rel=0.02)
    bounded = settling(track(exponential(1.0, 3.0)), shortest_s=0.5, longest_s=1.0)
    assert bounded.time_constant_s == pytest.approx(1.0, rel=0.02)
    bounded = settling(track(exponential(1.0, 3.0)), shortest_s=6.0, longest_s=9.0)
    assert bounded.time_constant_s == pytest.approx(6.0, rel=0.02)


def test_the_depth_scatters_as_stated():
    """80 seeded tracks in noise: 95 % intervals hold the truth in 70 at least (of 76 expected, p = 0.005), and are no
    wider than 1.5 times the scatter asks for."""
    random = np.random.default_rng(1)
    found = [settling(track(exponential(-2.0, 2.0) + 0.05 * random.standard_normal(18))) for _ in range(80)]
    errors = np.array([one.depth_db + 2.0 for one in found])
    stated = np.array([one.uncertainty_db for one in found])
    assert np.count_nonzero(np.abs(errors) <= stated) >= 70
    assert np.median(stated) < 1.5 * 1.959964 * np.std(errors)
    # by hand: what scatters about three fitted numbers, 15 degrees of freedom
    assert np.mean([one.residual_db**2 for one in found]) == pytest.approx(0.05**2 * 15 / 18, rel=0.1)
    assert all(one.significant for one in found)


def test_few_points():
    """Four can be fitted, but nothing says how well; five say it."""
    four, five = (settling(track(exponential(1.0, 1.0, points=points))) for points in (4, 5))
    assert math.isnan(four.uncertainty_db)
    assert not four.significant
    assert five.uncertainty_db < 0.1
    with pytest.raises(AnalysisError, match="3 points are too few"):
        settling(track([1.0, 0.5, 0.2]))


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


def test_a_band_begins_at_its_low_edge_and_ends_before_its_high_one():
    line = float(TONE.line_hz[3])
    samples = TONE.samples()
    assert len(period_levels(samples, TONE, start=0.0, bands=[(line, line + 1.0)])) == 1
    with pytest.raises(AnalysisError, match="no line"):
        period_levels(samples, TONE, start=0.0, bands=[(line - 1.0, line)])


@pytest.mark.parametrize("frame_s", [0.02, 0.05])
def test_a_start_is_held_against_the_settled_periods_moment_by_moment(frame_s):
    """The first period 2 dB louder throughout: 2 dB in every frame after that of the fade-in, 5 ms."""
    samples = TONE.samples()
    samples[:N] *= 10.0**0.1
    (found,) = onset(samples, TONE, start=0.0, bands=[LOW], frame_s=frame_s)
    frame = round(frame_s * RATE)
    assert found.time_s[0] == pytest.approx(1.5 * frame / RATE)
    assert found.time_s.size == N // frame - 1
    np.testing.assert_allclose(found.change_db[2:], 2.0, atol=0.1)  # the fade-in rings in a narrow band
    short = replace(TONE, periods=3)
    with pytest.raises(AnalysisError, match="four measured ones"):
        onset(short.samples(), short, start=0.0, bands=[LOW])
    enough = replace(TONE, periods=4, settling_periods=1)
    onset(enough.samples(), enough, start=0.0, bands=[LOW])


def test_a_band_is_cut_half_way_to_the_next_line():
    """Another band's lines are not heard: they come twice as loud in the first period, and this band stays as it
    was."""
    samples = TONE.samples()
    high = TONE.line_hz >= 600.0
    turns = np.arange(N) / N
    for b, a, p in zip(TONE.line_bins[high], TONE.line_amplitudes[high], TONE.line_phases_rad[high], strict=True):
        samples[:N] += a * np.cos(2 * np.pi * b * turns + p)
    (found,) = onset(samples, TONE, start=0.0, bands=[LOW])
    assert np.max(np.abs(found.change_db[3:])) < 0.2
    (other,) = onset(samples, TONE, start=0.0, bands=[HIGH])
    np.testing.assert_allclose(np.median(other.change_db), 6.02, atol=0.1)


# --- hum --------------------------------------------------------------------------------------------------------------


def test_a_tone_stands_out_by_fourteen_times_the_median():
    """Its peak is `a^2 T / (4 x 1.5 x ...)` over noise: by the density itself, a Hann window's bin holds a^2 / 3 T. Of
    two seconds, the mean of two silences; noise scatters the peak by some 20 %."""
    sigma = 1e-3
    density = 2.0 * sigma**2 / RATE
    found = {}
    for times in (9.0, 20.0):
        # a tone on a bin has the density a^2 / 2 over a bandwidth of 1.5 bins
        amplitude = math.sqrt(2.0 * times * 0.84 * density * 1.5 / 2.0)
        silences = [
            sigma * np.random.default_rng([seed, round(times)]).standard_normal(2 * RATE)
            + amplitude * np.cos(2 * np.pi * 500.0 * np.arange(2 * RATE) / RATE)
            for seed in range(2)
        ]
        found[times] = steady_sounds(silences, sample_rate=RATE)
    assert not np.any(np.abs(found[9.0].frequency_hz - 500.0) < 1.0)
    assert np.any(np.abs(found[20.0].frequency_hz - 500.0) < 1.0)


def test_two_tones_side_by_side_and_a_silence_that_is_too_short():
    time_s = np.arange(RATE) / RATE
    tone = 0.01 * np.sin(2 * np.pi * 300.0 * time_s) + 0.02 * np.sin(2 * np.pi * 320.3 * time_s)
    noise, other = 1e-5 * np.random.default_rng(1).standard_normal((2, RATE))
    found = steady_sounds([tone + noise, tone + other], sample_rate=RATE)
    assert found.frequency_hz == pytest.approx([300.0, 320.3], abs=0.03)
    assert found.power == pytest.approx([0.5e-4, 2e-4], rel=0.03)  # what a main lobe of five bins leaves out
    assert steady_sounds([(tone + noise)[:-1]], sample_rate=RATE).power.size == 0


@pytest.mark.parametrize(("bin_number", "found"), [(2, False), (3, True), (8187 - 4094, True), (8188 - 4094, False)])
def test_tones_at_the_ends_of_the_spectrum_need_their_main_lobe(bin_number, found):
    """Two bins on either side, and one more: of 4097 bins of a silence of a second the fourth to the last but three."""
    time_s = np.arange(RATE) / RATE
    tone = 0.01 * np.cos(2 * np.pi * bin_number * time_s)
    noise, other = 1e-5 * np.random.default_rng(1).standard_normal((2, RATE))
    sounds = steady_sounds([tone + noise, tone + other], sample_rate=RATE)
    assert np.any(np.abs(sounds.frequency_hz - bin_number) < 0.1) == found


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


def test_a_result_by_hand():
    one = readings(
        even_noise=1e-5,
        even_wander=2e-5,
        even_hum=3e-5,
        odd_noise=4e-5,
        odd_wander=1e-5,
        odd_hum=1e-5,
        even_variance=1.6e-9,
        odd_variance=8.1e-9,
    )
    result = multitone_result([one], Reference(offset_db=100.0, unit="db_spl"))
    bands = result.bands
    assert bands.even_db[1] == pytest.approx(db(4e-4 / 0.08))
    assert bands.odd_db[1] == pytest.approx(db(9e-4 / 0.08))
    assert bands.distortion_db[1] == pytest.approx(db(13e-4 / 0.08))
    assert bands.noise_db[1] == pytest.approx(db(1e-5 / 0.08))
    assert bands.even_floor_db[1] == pytest.approx(db(6e-5 / 0.08))
    assert bands.odd_floor_db[1] == pytest.approx(db(6e-5 / 0.08))
    assert bands.wander_floor_db[1] == pytest.approx(db(3e-5 / 0.08))
    # relative variances 1e-2: a tenth of a neper of power, 0.434 dB
    for name in ("even", "odd"):
        assert getattr(bands, f"{name}_uncertainty_db")[1] == pytest.approx(1.959964 * 0.4342945, rel=1e-6)
    # a full-scale sine, of power 1/2, is 0 dBFS
    assert bands.level_db[1] == pytest.approx(db(0.16) + 100.0)
    assert bands.even_level_db[1] == pytest.approx(db(8e-4) + 100.0)
    assert bands.odd_level_db[1] == pytest.approx(db(18e-4) + 100.0)
    assert bands.distortion_level_db[1] == pytest.approx(db(26e-4) + 100.0)
    assert bands.noise_level_db[1] == pytest.approx(db(2e-5) + 100.0)
    for name in ("even_db", "odd_db", "distortion_db", "noise_db", "level_db", "even_floor_db"):
        assert np.isnan(getattr(bands, name)[2])
    assert result.level_db == pytest.approx(db(0.32) + 100.0)
    assert result.even_db == pytest.approx(db(12e-4 / 0.16))
    assert result.odd_db == pytest.approx(db(27e-4 / 0.16))
    assert result.distortion_db == pytest.approx(db(39e-4 / 0.16))
    assert result.noise_db == pytest.approx(db(3e-5 / 0.16))
    assert result.floor_db == pytest.approx(db(36e-5 / 0.16))
    response = result.response
    assert response.gain_db[0] == pytest.approx(-6.0206, abs=1e-4)
    assert response.response_db[0] == pytest.approx(-6.0206 + TONE.drive_dbfs + 100.0, abs=1e-4)
    heard_power = 0.5 * TONE.line_amplitudes[0] ** 2 * 0.25
    assert response.level_db[0] == pytest.approx(db(2.0 * heard_power) + 100.0)
    assert response.noise_db[0] == pytest.approx(db(2e-8) + 100.0)
    assert response.distortion_db[0] == pytest.approx(db(2e-7) + 100.0)
    assert response.uncertainty_db[0] == pytest.approx(1.959964 * 4.342945 * math.sqrt(2e-8 / heard_power), rel=1e-6)


@pytest.mark.parametrize(("margin_db", "doubtful"), [(9.9, True), (10.1, False)])
def test_bands_are_marked_under_ten_decibels_over_the_floor(margin_db, doubtful):
    for part, power in (("even", 4e-4), ("odd", 9e-4)):
        floor = power * 10.0 ** (-margin_db / 10.0)
        result = multitone_result([readings(**{f"{part}_noise": floor})], Reference())
        assert result.bands.doubtful[1] == doubtful


def test_several_realisations_are_averaged_in_power_and_their_gains_as_they_are():
    first, second = (
        readings(even=2e-4, even_variance=1e-10, gain=0.4),
        readings(even=6e-4, even_variance=3e-10, gain=0.6),
    )
    result = multitone_result([first, second], Reference())
    assert result.bands.even_db[1] == pytest.approx(db(4e-4 / 0.08))
    assert result.bands.even_uncertainty_db[1] == pytest.approx(1.959964 * 4.342945 * math.sqrt(1e-10) / 4e-4)
    assert result.response.gain_db[0] == pytest.approx(20 * math.log10(0.5))
    assert result.response.noise_db[0] == pytest.approx(db(1e-8))  # half the noise of one
    assert result.response.distortion_db[0] == pytest.approx(db(2e-7))
    assert result.realisations == 2
    worst = multitone_result([first, readings(even_wander=2e-6)], Reference())
    assert worst.clock.wander_ppm == 2e-6


def test_twelve_periods_are_read_and_eleven_are_not():
    samples = TONE.samples()
    result = multitone_result([read_multitone(MultitoneTake(samples=samples, start=0.0), TONE)], Reference())
    assert np.nanmax(result.bands.distortion_db) < -200.0
    assert np.max(np.abs(result.response.gain_db)) < 1e-9
    short = replace(TONE, periods=11)
    with pytest.raises(AnalysisError, match="at least 12"):
        read_multitone(MultitoneTake(samples=short.samples(), start=0.0), short)
