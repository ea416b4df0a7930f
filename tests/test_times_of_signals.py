"""When each part of a frame, a burst series, long heating and a multitone sounds: times worked out by hand."""

import math

import numpy as np
import pytest

from signals import Multitone, SignalError
from signals.burst import PEAK_OVER_RMS_DB, BurstSeries, third_octaves_hz
from signals.frames import Frames
from signals.heating import Heating
from signals.multitone import line_amplitudes

RATE = 8000


def passes(make) -> bool:
    try:
        make()
    except SignalError:
        return False
    return True


def swell(share: float) -> float:
    return math.sin(0.5 * math.pi * min(max(share, 0.0), 1.0)) ** 2


# --- frames -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hz", "step_periods", "hold_periods"),
    [
        (1000.0, 1, 80),  # 80 ms; 24 periods and an edge of two would be 26 ms
        (125.0, 1, 26),  # 208 ms
        (63.0, 1, 26),
        (170.0, 1, 26),  # 26 / 170 over 1 / 170 is more than 26 by its last digit
        (310.0, 1, 26),
        (1234.5, 2, 100),  # a millisecond is more than one period, 80 ms are 49.4 steps of two
        (325.0, 1, 26),  # 26 periods are 80 ms
        (3999.0, 4, 320),
    ],
)
def test_the_times_of_a_frame(hz, step_periods, hold_periods):
    """Quiet for 0.5 s, loud, quiet for 1.5 s; then 99 times what is loud, edge included, for 20 dB: a hundredfold power
    less one, so that the mean is the probe's."""
    series = Frames(frequencies_hz=(hz,), lead_s=0.5, tail_s=1.5, sample_rate=RATE)
    (frame,) = series.frames
    hold_s, edge_s = hold_periods / hz, 2.0 / hz
    assert frame.step_s == pytest.approx(step_periods / hz)
    assert frame.hold_s == pytest.approx(hold_s)
    assert (frame.edge_s, frame.test_s) == (pytest.approx(edge_s), 0.5)
    assert frame.after_s == pytest.approx(0.5 + hold_s)
    assert frame.end_s == pytest.approx(2.0 + hold_s)
    assert frame.sounding_s == pytest.approx(2.0 + hold_s + edge_s)
    assert frame.seconds == pytest.approx(2.0 + hold_s + edge_s + 99.0 * (hold_s + edge_s))
    assert series.n_samples == pytest.approx(frame.seconds * RATE, abs=0.51)


def test_a_frame_that_is_hardly_louder_is_followed_by_half_a_second():
    (frame,) = Frames(frequencies_hz=(1000.0,), below_db=1.0, sample_rate=RATE).frames
    assert frame.seconds == pytest.approx(0.6 + 0.08 + 2.0 + 0.002 + 0.5)


def test_the_samples_of_a_frame():
    """Amplitude 0.5 when loud, a tenth of it before and after, under raised cosines of two periods."""
    series = Frames(
        frequencies_hz=(500.0, 900.0), lead_s=0.1, tail_s=0.2, sample_rate=RATE, drive_dbfs=20.0 * math.log10(0.5)
    )
    frame, later = series.frames
    played = series.samples()
    n = round(frame.sounding_s * RATE)
    expected = []
    for place in range(n):
        t = place / RATE
        probe = swell(t / 0.004) - swell((t - frame.end_s) / 0.004)
        loud = swell((t - 0.1) / 0.004) - swell((t - frame.after_s) / 0.004)
        expected.append(0.5 * (0.1 * probe + 0.9 * loud) * math.sin(2.0 * math.pi * 500.0 * t))
    np.testing.assert_allclose(played[:n], expected, atol=1e-12)
    assert series.starts == (0, round(frame.seconds * RATE))
    assert not np.any(played[n : series.starts[1]])
    assert played[series.starts[1] + 7] == pytest.approx(later.samples()[7])
    assert played.size == series.n_samples == series.starts[1] + round(later.seconds * RATE)


def test_how_long_frames_sound_between_two_frequencies():
    series = Frames(frequencies_hz=(500.0, 900.0, 1500.0), sample_rate=RATE)
    each_s = [one.sounding_s for one in series.frames]
    assert series.seconds_in(500.0, 1500.0) == pytest.approx(each_s[0] + each_s[1])
    assert series.seconds_in(500.1, 1500.1) == pytest.approx(each_s[1] + each_s[2])
    assert series.highest_hz == 1500.0


def test_what_frames_can_be():
    assert passes(lambda: Frames(frequencies_hz=tuple(np.arange(1.0, 33.0) * 100.0)))
    assert not passes(lambda: Frames(frequencies_hz=tuple(np.arange(1.0, 34.0) * 100.0)))
    assert passes(lambda: Frames(below_db=30.0, frequencies_hz=(1000.0,)))
    assert not passes(lambda: Frames(below_db=30.1, frequencies_hz=(1000.0,)))
    assert passes(lambda: Frames(below_db=0.5, frequencies_hz=[1000.0]))  # a list, as it comes out of JSON
    assert not passes(lambda: Frames(frequencies_hz=(1000.0, 1000.0)))
    assert not passes(lambda: Frames(frequencies_hz=1000.0))
    # a frame of 1 Hz lasts 26 + 2 s a hundred times, and so 0.8 of an hour
    assert passes(lambda: Frames(frequencies_hz=(1.0,)))
    assert not passes(lambda: Frames(frequencies_hz=(1.0, 1.1)))
    unless_told = Frames()
    assert unless_told.frequencies_hz == (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
    assert (unless_told.below_db, unless_told.lead_s, unless_told.tail_s) == (20.0, 0.6, 2.0)
    assert (unless_told.sample_rate, unless_told.drive_dbfs) == (48000, -20.0)


# --- bursts -----------------------------------------------------------------------------------------------------------


def test_the_times_of_a_burst_series():
    """6.5 periods of 100, 400 and 1,000 Hz: 520, 130 and 52 samples, 0.3 s between one and the next."""
    series = BurstSeries(bands_hz=(100.0, 400.0, 1000.0), sample_rate=RATE)
    assert [one.n_samples for one in series.bursts] == [520, 130, 52]
    assert series.starts == (0, 2920, 5450)
    assert series.n_samples == 5502
    assert series.highest_hz == pytest.approx(1000.0 * (1.0 + 2.0 / 6.5))
    assert series.seconds_in(100.0, 1000.0) == pytest.approx(650 / RATE)
    assert series.seconds_in(100.1, 1000.1) == pytest.approx(182 / RATE)
    played = series.samples()
    for start, one in zip(series.starts, series.bursts, strict=True):
        np.testing.assert_array_equal(played[start : start + one.n_samples], one.samples())
    assert np.count_nonzero(played[520:2920]) == np.count_nonzero(played[3050:5450]) == 0


def test_what_a_burst_series_can_be():
    assert passes(lambda: BurstSeries(bands_hz=tuple(np.arange(1.0, 101.0) * 50.0)))
    assert not passes(lambda: BurstSeries(bands_hz=tuple(np.arange(1.0, 102.0) * 50.0)))
    assert passes(lambda: BurstSeries(gap_s=0.0))
    assert not passes(lambda: BurstSeries(gap_s=-1e-3))
    assert not passes(lambda: BurstSeries(bands_hz=(500.0, 500.0)))
    # an hour at 48 kHz, the silence after every burst counted
    assert not passes(lambda: BurstSeries(bands_hz=(1000.0, 2000.0), gap_s=1800.0))
    assert passes(lambda: BurstSeries(bands_hz=(1000.0, 2000.0), gap_s=1799.9))
    unless_told = BurstSeries()
    assert (unless_told.periods, unless_told.gap_s, unless_told.drive_dbfs) == (6.5, 0.3, -20.0)
    np.testing.assert_allclose(unless_told.bands_hz, [10.0 ** (0.1 * index) for index in range(18, 40)])
    assert third_octaves_hz(100.0, 99.0) == (100.0,)
    assert third_octaves_hz(200.0, 100.0) == ()
    assert pytest.approx(3.0103, abs=1e-4) == PEAK_OVER_RMS_DB


# --- long heating -----------------------------------------------------------------------------------------------------

TONE = Multitone(low_hz=200.0, high_hz=3000.0, lines_per_decade=5.0, period_s=0.25, sample_rate=RATE, drive_dbfs=-12.0)
PERIOD = TONE.period()


def heating(**fields) -> Heating:
    given = {"tone": TONE, "loud_periods": 10, "asked_periods": 10, "pilots_after_s": (0.0, 1.0)} | fields
    return Heating(**given)


def test_the_times_of_long_heating():
    """A pilot: one period to settle, two that are read, of 2,000 samples, and a fade of 50 ms; then 2 s of silence."""
    long = heating()
    assert long.pilot.n_samples == 6400
    assert (long.pilot.settling_periods, long.pilot.periods) == (1, 2)
    assert long.pilot.drive_dbfs == -32.0
    assert (long.loud_start, long.loud_end) == (22400, 42400)
    assert long.pilot_starts == (42400, 50400)
    assert long.n_samples == 56800
    assert long.loud_s == 2.5
    assert heating(pilots_after_s=()).n_samples == 42800
    unless_told = Heating()
    assert (unless_told.loud_periods, unless_told.asked_periods, unless_told.pilot_below_db) == (300, 300, 20.0)
    assert unless_told.pilots_after_s == (0.0, 15.0, 40.0, 90.0, 180.0)


def test_what_long_heating_can_be():
    """A pilot lasts 0.8 s; the next may begin where it ends."""
    assert passes(lambda: heating(loud_periods=8, asked_periods=8))
    assert not passes(lambda: heating(loud_periods=7))
    assert not passes(lambda: heating(loud_periods=11))
    assert passes(lambda: heating(pilots_after_s=(0.0, 0.8)))
    assert not passes(lambda: heating(pilots_after_s=(0.0, 0.799)))
    assert not passes(lambda: heating(pilots_after_s=(0.5, 1.25)))
    assert heating().ended_after(9, pilots=1).pilots_after_s == (0.0,)


def test_it_fades_in_within_five_milliseconds_and_out_within_fifty():
    alone = heating(pilots_after_s=(1.0,))
    samples = alone.samples()
    for place in (0, 1, 13, 20, 39, 40, 41):
        assert samples[22400 + place] == pytest.approx(swell(place / 40.0) * PERIOD[place], abs=1e-12)
    for place in (0, 1, 100, 200, 399):
        expected = swell((400 - place) / 400.0) * PERIOD[place]
        assert samples[42400 + place] == pytest.approx(expected, abs=1e-12)
    assert not np.any(samples[42800:50400])
    np.testing.assert_allclose(samples[24400:26400], PERIOD, atol=1e-12)


def test_it_fades_into_a_pilot_that_sets_in_at_once():
    """Both together are the fade, but never less than the pilot, a tenth of it, alone."""
    samples = heating().samples()
    for place in (0, 7, 20, 40, 200, 300, 330, 399):
        share = max(swell((400 - place) / 400.0), 0.1 * swell(place / 40.0))
        assert samples[42400 + place] == pytest.approx(share * PERIOD[place], abs=1e-12)
    assert samples[42400 + 500] == pytest.approx(0.1 * PERIOD[500], abs=1e-12)


# --- the multitone ----------------------------------------------------------------------------------------------------


def multitone(**fields) -> Multitone:
    given = {"low_hz": 100.0, "high_hz": 3000.0, "period_s": 0.5, "sample_rate": RATE, "lines_per_decade": 5.0}
    return Multitone(**(given | {"periods": 2, "settling_periods": 1} | fields))


def test_the_samples_of_a_multitone():
    """Three periods of 4,000, the first 40 samples fading in, and 400 of the fourth fading out; without a settling
    period nothing fades in."""
    tone = multitone()
    period, played = tone.period(), tone.samples()
    assert played.size == tone.n_samples == 12400
    for place in (0, 1, 20, 39, 40, 41):
        assert played[place] == pytest.approx(swell(place / 40.0) * period[place], abs=1e-12)
    for place in (0, 1, 100, 200, 399):
        assert played[12000 + place] == pytest.approx(swell((400 - place) / 400.0) * period[place], abs=1e-12)
    np.testing.assert_allclose(played[4000:12000], np.tile(period, 2), atol=1e-12)
    sudden = multitone(settling_periods=0)
    assert sudden.n_samples == 8400
    np.testing.assert_allclose(sudden.samples()[:40], period[:40], atol=1e-12)


@pytest.mark.parametrize(
    ("spectrum", "levels_db"),
    [
        ("pink", (0.0, 0.0, 0.0)),
        ("flat", (0.0, 10.0, 3.0103)),
        ("red", (0.0, -10.0, -3.0103)),
        # -5.2 dB at 40 Hz, -0.3 at 400 ... as tabulated; half way from 63 to 80 Hz on the logarithm: -2.0 and -1.1
        ("programme", (-0.6, -0.1, -0.2)),
    ],
)
def test_the_level_of_lines_over_frequency(spectrum, levels_db):
    """100 Hz, 1 kHz, and 200 Hz (125 Hz for the programme): 3 dB an octave, 10 dB a decade, or as tabulated; the mean
    square is 1."""
    frequency_hz = np.array([100.0, 1000.0, 125.0 if spectrum == "programme" else 200.0])
    found = line_amplitudes(frequency_hz, spectrum)
    assert np.mean(found**2) == pytest.approx(1.0)
    expected_db = np.array(levels_db) - 10.0 * math.log10(np.mean(10.0 ** (np.array(levels_db) / 10.0)))
    np.testing.assert_allclose(20.0 * np.log10(found), expected_db, atol=1e-4)


def test_the_level_and_the_peak_of_a_multitone():
    """Drive: r.m.s. re a full-scale sine's; the peak of one line alone is its amplitude, 3.01 dB above its r.m.s."""
    tone = multitone(drive_dbfs=-26.0)
    assert 10.0 * math.log10(np.sum(tone.line_amplitudes**2)) == pytest.approx(-26.0)
    assert np.mean(tone.period() ** 2) == pytest.approx(0.5 * 10.0**-2.6)
    assert tone.crest_factor_db == pytest.approx(20.0 * math.log10(tone.crest_factor))
    fine = np.abs(np.fft.irfft(np.fft.rfft(tone.period()), 20 * 4000)) * 20.0
    assert 10.0 ** (tone.peak_dbfs / 20.0) == pytest.approx(np.max(fine), rel=0.01)
    assert tone.highest_hz == tone.line_hz[-1] == tone.line_bins[-1] / 0.5


def test_the_first_draw_of_phases_is_played_unless_told_otherwise():
    assert (Multitone().seed, Multitone().realisation, Multitone().lowest_hz) == (1, 0, None)
    np.testing.assert_array_equal(multitone().period(), multitone(seed=1, realisation=0).period())


def test_lines_below_the_lowest_are_left_out_and_one_at_it_is_not():
    every = multitone().line_hz
    assert multitone(lowest_hz=float(every[3])).line_hz.tolist() == every[3:].tolist()
    assert multitone(lowest_hz=float(every[3]) + 0.1).line_hz.tolist() == every[4:].tolist()
