"""Where parts of recordings begin and end, and what is taken from beside them: sums by hand, limits from both sides."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
import scipy

from distort.analysis.sweep import intervals, readings
from distort.analysis.sweep.images import _searched_bins
from distort.analysis.sweep.intervals import half_width_db
from distort.analysis.sweep.window_errors import OrderErrors
from distort.assembly.comparison.comparing import _outputs_of, _rungs_used
from distort.recording.alignment.matched import Lags, stands_out_db
from distort.recording.alignment.silences import _until_it_sounds, _with_unplanned, planned_silences
from signals import Sweep, framed
from signals.frames import Frames

RATE = 8000
SWEEP = Sweep(seconds=1.0, sample_rate=RATE, start_hz=50.0, full_level_hz=70.0, stop_hz=3900.0)


def test_a_peak_stands_out_of_what_lies_on_either_side_of_it():
    """10 at lag 100, over 0.1 before and 0.3 after it; further off and nearer lies more, which does not count."""
    values = np.full(61, 5.0)
    values[30 - 11 : 30 - 3 + 1], values[30 + 3 : 30 + 11 + 1] = 0.1, 0.3
    values[30] = 10.0
    found = stands_out_db(Lags(values, 70), 100, inner=3.0, outer=11.0)
    kept = stands_out_db(Lags(values[19:42], 89), 100, inner=3.0, outer=11.0)
    assert found == kept == pytest.approx(20.0 * math.log10(10.0 / math.sqrt((0.01 + 0.09) / 2.0)), abs=1.0)


# --- other sounds beside a stimulus -----------------------------------------------------------------------------------


def looks(*levels: float) -> np.ndarray:
    """Tenths of a second of plus and minus so much: their standard deviation."""
    return np.concatenate([level * np.tile([1.0, -1.0], RATE // 20) for level in levels])


QUIET = (1e-4,) * 10


@pytest.mark.parametrize(
    ("levels", "least", "heard"),
    [
        ((*QUIET, *(1.05e-3,) * 10), 1e-5, 10),  # 20.4 dB over the quiet part
        ((*QUIET, *(0.95e-3,) * 10), 1e-5, None),
        ((*QUIET, *(1.05e-2,) * 10), 1e-2, 10),
        ((*QUIET, *(0.95e-2,) * 10), 1e-2, None),
        ((*QUIET, *(0.1,) * 9, *QUIET), 1e-3, None),  # 0.9 s is a door or a word
        ((*QUIET, *(0.1,) * 10, *QUIET), 1e-3, 10),
        ((*QUIET, 1.9e-4, 1.9e-4, *(0.1,) * 10), 1e-3, 12),  # 6 dB over the quiet part it has begun
        ((*QUIET, 2.1e-4, 2.1e-4, *(0.1,) * 10), 1e-3, 10),
        ((1e-5, 1e-5, 1e-5, *(1e-4,) * 7, *(1e-2,) * 15), 1e-3, 3),  # the quiet part is the tenth from below
    ],
)
def test_another_sound_lasts_a_second_and_stands_20_decibels_out(levels, least, heard):
    for decays in (False, True):
        assert _until_it_sounds(looks(*levels), least, RATE, decays=decays) == (None if heard is None else heard * 800)


def test_what_sounds_from_the_first_look_on_is_the_stimulus_own_decay():
    outward = looks(*(0.1,) * 12, *QUIET, *(0.1,) * 11)
    assert _until_it_sounds(outward, 1e-3, RATE, decays=True) == 22 * 800
    assert _until_it_sounds(outward, 1e-3, RATE, decays=False) == 0
    assert _until_it_sounds(outward[:799], 1e-3, RATE, decays=True) is None


@pytest.mark.parametrize("stretch", [1.0, 1.01, 0.99])
def test_planned_silences_stretch_with_the_recording(stretch):
    """Counted from the stimulus on; whole samples within."""
    reel = framed(SWEEP)
    first, _ = reel.only_stimulus()
    start = 20000.0
    found = planned_silences(reel, start=start, n_recorded=10**6, stretch=stretch)
    margins = set()
    assert len(found) >= 2
    for span, played in zip(found, reel.quiet_spans(), strict=True):
        assert span[0] == math.ceil(start + (played[0] - first) * stretch)
        margins.add(math.floor(start + (played[1] - first) * stretch) - span[1])
    assert len(margins) == 1


@pytest.mark.parametrize("stretch", [1.0, 1.01])
def test_where_no_silence_was_recorded_whole_all_between_stimulus_and_chirp_is_one(stretch):
    reel = framed(SWEEP)
    first, sweep = reel.only_stimulus()
    (before, chirp), (after, _) = (
        max((one for one in reel.chirps() if one[0] < first), key=lambda one: one[0]),
        min((one for one in reel.chirps() if one[0] > first), key=lambda one: one[0]),
    )
    start = 40000.0
    low, high = _with_unplanned((), reel, start=start, stretch=stretch, n=10**6)
    assert low[0] == math.ceil(start + (before - first) * stretch + chirp.n_samples * stretch)
    assert high[0] == math.ceil(start + sweep.n_samples * stretch)
    margin = 40000 - low[1]
    assert 0 < margin < 0.1 * RATE
    assert high[1] == math.floor(start + (after - first) * stretch) - margin
    whole = ((int(start) - 9000, int(start) - 1000), (int(high[0]), int(high[0]) + 9000))
    assert _with_unplanned(whole, reel, start=start, stretch=stretch, n=10**6) == whole


# --- rows and bins ----------------------------------------------------------------------------------------------------


def test_orders_are_read_from_where_the_sweep_begins_to_where_it_fades_out(monkeypatch):
    """Both ends belong to it: excitation from the start on, `n f` up to the fade-out."""
    sweep = Sweep(start_hz=10.0, stop_hz=20000.0, fade_out_octaves=1.0)
    excitation_hz = np.array([9.99, 10.0, 20.0, 4999.0, 5000.0, 5001.0])
    ones = np.ones(excitation_hz.size)
    factors = SimpleNamespace(factors=lambda width_hz: (ones, ones))
    monkeypatch.setattr(readings, "noise_averaging", lambda *_: factors)
    context = SimpleNamespace(
        separated=SimpleNamespace(sweep=sweep, spectra=[SimpleNamespace(window=None)] * 2),
        excitation_hz=excitation_hz,
        octaves=1.0 / 12.0,
        silence_s=2.0,
        smoothed=lambda spectra, at_hz, octaves: [(5.0 * ones, ones)],
    )
    found = readings._reading(context, 2, 3.0 * ones)
    within = np.array([False, True, True, True, True, False])
    fades = np.square(sweep.envelope(2.0 * excitation_hz[within]))
    for values, expected in ((found.power, 12.0 * fades), (found.noise, 3.0 * fades)):
        np.testing.assert_allclose(values[within], expected)
        assert np.isnan(values[~within]).all()
    assert np.isfinite(found.variance).tolist() == within.tolist()
    assert np.isnan(found.leak).all()


@pytest.mark.parametrize(("stop_hz", "last"), [(20000.0, 14285), (8000.0, 5714)])
def test_images_are_sought_from_250_hertz_to_10_kilohertz_or_the_fade_out(stop_hz, last):
    """Bins of 0.7 Hz, whole ones within: 357.1 to 14,285.7, or to 4,000 / 0.7 = 5,714.3."""
    sweep = Sweep(stop_hz=stop_hz, fade_out_octaves=1.0 if stop_hz < 1e4 else 0.1)
    assert _searched_bins(sweep, 0.7) == (358, last)


def test_frames_stand_at_the_octaves_from_125_hertz_to_8_kilohertz():
    assert Frames().frequencies_hz == tuple(125.0 * 2.0**octave for octave in range(7))


# --- intervals --------------------------------------------------------------------------------------------------------


def errors(shift_db: float, variance: float) -> OrderErrors:
    rows = 241
    return OrderErrors(
        shift_db=np.full(rows, shift_db), variance=np.full(rows, variance), later_variance=np.zeros(rows)
    )


def test_a_short_sweep_tells_what_the_speed_does():
    """Of a bias b = d - (m' - m) alike in all rows: speed S = b^2 - s^2 - s'^2, of all W = b^2. The regression of the
    error, of which the long sweep has the part p, on b: gain g = (p S - s^2) / W; what it leaves, p^2 S - g^2 W; and
    0.15 of what was moved for the speed."""
    own, short, part, difference_db = errors(0.3, 0.01), errors(0.5, 0.04), 0.4, np.full(241, 1.5)
    bias, speed = 1.5 - 0.2, 1.3**2 - 0.05
    gain = (part * speed - 0.01) / (speed + 0.05)
    unsure = 0.15 * part * bias * speed / (speed + 0.05)
    total = errors(0.3, 0.02)
    found = intervals._with_speed(own, total, short, difference_db, part=part)
    middle = slice(100, 140)
    np.testing.assert_allclose(found.shift_db[middle], 0.3 + gain * bias)
    left = 0.02 + part**2 * speed - gain**2 * (speed + 0.05)
    np.testing.assert_allclose(found.variance[middle], left + unsure**2)
    nothing = intervals._with_speed(own, total, short, np.full(241, np.nan), part=part)
    np.testing.assert_array_equal(nothing.shift_db, total.shift_db)
    np.testing.assert_array_equal(nothing.variance, total.variance)


@pytest.mark.parametrize("shift", [0.0, 0.5, -1.0, 3.0])
def test_an_interval_about_nothing_holds_95_in_100_of_a_shifted_normal(shift):
    (half,) = half_width_db(np.array([shift * 0.7]), np.array([0.49]))
    normal = scipy.stats.norm(shift * 0.7, 0.7)
    assert normal.cdf(half) - normal.cdf(-half) == pytest.approx(0.95, abs=1e-4)
    assert half_width_db(np.array([shift]), np.array([0.0]))[0] == pytest.approx(abs(shift))
    assert np.isnan(half_width_db(np.array([np.nan]), np.array([1.0]))[0])


# --- rungs of a comparison --------------------------------------------------------------------------------------------

SIDE = SimpleNamespace(name="b", outputs_db={81.0: 80.2, 86.0: 85.1, 91.0: 89.7})


def test_outputs_that_do_not_overlap_are_named_from_the_lowest_to_the_highest():
    assert _outputs_of(SIDE) == "b was measured from 80.2 to 89.7 dB SPL"


@pytest.mark.parametrize(("output_db", "used"), [(85.1, (86.0,)), (85.0, (81.0, 86.0)), (86.0, (86.0, 91.0))])
def test_the_rungs_on_either_side_of_an_output_are_used(output_db, used):
    assert _rungs_used(SIDE, output_db) == used
