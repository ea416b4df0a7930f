"""Where silences begin and end to the sample: starts between two samples, clocks that stretch, lengths that just do."""

import math

import numpy as np
import pytest

from distort.recording.alignment.silences import Silences, _about, _until_it_sounds, _with_unplanned, recorded_silences
from signals import Reel, Silence, Sweep, framed

RATE = 8000
SWEEP = Sweep(seconds=1.0, sample_rate=RATE, start_hz=50.0, full_level_hz=70.0, stop_hz=3900.0)
REEL = framed(SWEEP)
"""A chirp of 800 samples at 4,000, the sweep at 26,800, the other chirp 24,000 samples behind its end."""

START, STRETCH = 30000.4, 1.001


def unplanned(*planned: tuple[int, int], start: float = START, stretch: float = STRETCH, n: int = 100_000, reel=REEL):
    return _with_unplanned(planned, reel, start=start, stretch=stretch, n=n)


def test_all_between_chirp_and_stimulus_is_taken_where_nothing_was_planned():
    """The chirp ends at 30000.4 - 22000 x 1.001 = 7978.4; the sweep at 30000.4 + 1.001 n; 40 samples are kept from what
    follows."""
    assert REEL.chirp_starts()[0] == 4000
    assert REEL.only_stimulus()[0] == 26800
    end = START + SWEEP.n_samples * STRETCH
    chirp = START + (SWEEP.n_samples + 24000) * STRETCH
    before, after = (7979, 29960), (math.ceil(end), math.floor(chirp) - 40)
    assert unplanned() == (before, after)
    assert unplanned(n=60_000) == (before, (math.ceil(end), 60_000))
    assert unplanned(start=10000.4) == ((0, 9960), tuple(one - 20000 for one in after))


@pytest.mark.parametrize(("length", "kept"), [(3999, False), (4000, True)])
def test_half_a_second_is_a_silence(length, kept):
    end = math.ceil(START + SWEEP.n_samples * STRETCH)
    found = unplanned(n=end + length)
    assert found == (((7979, 29960), (end, end + length)) if kept else ((7979, 29960),))


def test_a_planned_silence_that_just_meets_the_stimulus_lies_beside_it():
    end = 30000 + SWEEP.n_samples
    planned = ((9000, 30000), (end, end + 9000))
    assert unplanned(*planned, start=30000.0, stretch=1.0) == planned
    assert unplanned(planned[1], start=30000.0, stretch=1.0) == ((8000, 29960), planned[1])
    assert unplanned(planned[0], start=30000.0, stretch=1.0) == (planned[0], (end, end + 24000 - 40))


def test_a_reel_with_one_chirp_has_all_on_its_other_side():
    quiet = Silence(seconds=1.0, sample_rate=RATE)
    behind = Reel((quiet, SWEEP, quiet, REEL.items[1]))
    end = 30000 + SWEEP.n_samples
    found = unplanned(start=30000.0, stretch=1.0, reel=behind)
    assert found == ((0, 29960), (end, end + 8000 - 40))


def test_a_stimulus_that_a_fast_clock_stretched_ends_later():
    noise = 1e-4 * np.random.default_rng(1).standard_normal(SWEEP.n_samples + 20000)
    noise[8000 : 8000 + SWEEP.n_samples] += SWEEP.samples()
    found = recorded_silences(noise, Reel((SWEEP,)), start=8000.0, stretch=1.01)
    assert found.spans[-1] == (math.ceil(8000 + 1.01 * SWEEP.n_samples), noise.size)
    assert (found.muted_s, found.ringing_s) == (0.0, 0.0)
    assert (Silences().spans, Silences().muted_s, Silences().ringing_s) == ((), 0.0, 0.0)


# --- looks of a tenth of a second -------------------------------------------------------------------------------------

QUIET, LOUD = 0.001, 0.1


def looks(levels: list[float]) -> np.ndarray:
    """A square wave of each r.m.s. value for 100 samples, a tenth of a second at 1 kHz."""
    return np.concatenate([level * np.where(np.arange(100) % 2 == 0, 1.0, -1.0) for level in levels])


def test_looks_lead_away_from_the_stimulus_from_its_margin_on():
    """It begins at 2,005.3, 5 samples behind the last look, and ends at 3,005.3: the first whole sample behind it
    is 3,006."""
    before = looks([LOUD] * 11 + [QUIET] * 9)
    samples = np.concatenate([before, looks([1.0] * 10), looks([QUIET] * 9)])
    samples = np.insert(samples, 2000, [QUIET] * 5)
    found = _about(samples, 2005.3, 3005.3, 1000)
    assert found == [((1100, 2000), True), ((3006, samples.size), True)]
    assert _about(samples[:3505], 2005.3, 3005.3, 1000) == [((1100, 2000), True)]  # 499 samples are too few
    assert _about(samples[:3506], 2005.3, 3005.3, 1000)[1:] == [((3006, 3506), True)]


def test_a_sound_that_is_there_at_once_leaves_no_silence():
    assert _until_it_sounds(looks([LOUD] * 10 + [QUIET] * 9), 0.05, 1000, decays=False) == 0
    assert _until_it_sounds(looks([LOUD] * 9 + [QUIET] * 9), 0.05, 1000, decays=False) is None


@pytest.mark.parametrize(("ratio", "expected"), [(1.98, 800), (2.01, 600)])
def test_six_decibels_are_a_ratio_of_1_995(ratio, expected):
    levels = [QUIET] * 6 + [ratio * QUIET] * 2 + [LOUD] * 10
    assert _until_it_sounds(looks(levels), 0.05, 1000, decays=False) == expected
