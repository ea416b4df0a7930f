"""Chirps in a long recording: how near they may be to one another, what is sound, and what follows on them."""

import numpy as np
import pytest

from distort.recording.alignment.chirp_places import _Search, find_peaks, hear_chirp
from distort.recording.alignment.locating import _chirp_output, _coarse_starts, find_reel
from distort.session.audio.long_recording import InMemory
from signals import Chirp, Multitone, Reel, Silence, Sweep, Tone, framed

RATE = 8000
CHIRP = Chirp(low_hz=500.0, high_hz=3600.0, seconds=0.1, sample_rate=RATE, drive_dbfs=-20.0)


def recorded(samples: np.ndarray) -> InMemory:
    return InMemory(what="it", sample_rate=RATE, samples=samples)


@pytest.mark.parametrize(("apart_s", "count"), [(0.38, 1), (0.42, 2)])
def test_places_nearer_than_four_tenths_of_a_second_are_one(apart_s, count):
    samples = np.zeros(12000)
    for place, gain in ((3000, 1.0), (3000 + round(apart_s * RATE), 0.9)):
        samples[place : place + CHIRP.n_samples] += gain * CHIRP.samples()
    found = find_peaks(recorded(samples), CHIRP)
    assert np.count_nonzero(found.likeness > 0.9) == count


@pytest.mark.parametrize("gain", [1e-4, 1.0, 1e6])
def test_where_nothing_is_heard_nothing_is_like_a_chirp(gain):
    """Two seconds of noise and then zeros, whatever the level: what rounding leaves of the noise is no sound."""
    search = _Search.of(CHIRP)
    block = np.zeros(search.n_block)
    block[: 2 * RATE] = gain * np.random.default_rng(1).standard_normal(2 * RATE)
    silent = round(3 * RATE / search.factor)
    assert np.max(search.likeness(block)[silent : 4 * silent]) < 0.1


def test_an_echo_is_heard_to_21_milliseconds_behind_a_chirp():
    """Half as strong, upside down and 20 ms late: 160 samples; the chirp's own response is gone by then."""
    samples = np.zeros(12000)
    samples[5000 : 5000 + CHIRP.n_samples] += CHIRP.samples()
    samples[5160 : 5160 + CHIRP.n_samples] -= 0.5 * CHIRP.samples()
    samples += 1e-6 * np.random.default_rng(1).standard_normal(samples.size)
    heard = hear_chirp(recorded(samples), CHIRP, near=4998.0, clock=0.0)
    assert heard.response.size == 24 + 168
    assert heard.response[24 + 160] / heard.response[24] == pytest.approx(-0.5, abs=0.02)
    assert heard.polarity == 1
    upside_down = hear_chirp(recorded(-samples), CHIRP, near=4998.0, clock=0.0)
    assert upside_down.polarity == -1
    assert upside_down.place == pytest.approx(heard.place)


SWEEP = Sweep(seconds=1.0, sample_rate=RATE, start_hz=50.0, full_level_hz=70.0, stop_hz=3900.0)
QUIET = Silence(seconds=1.0, sample_rate=RATE)


def coarse(reel: Reel, *, before: int = 700) -> list[int]:
    samples = np.pad(reel.samples(), (before, 900)) + 1e-5 * np.random.default_rng(1).standard_normal(
        reel.n_samples + before + 900
    )
    return list(_coarse_starts(samples, reel, _chirp_output(samples, reel)))


@pytest.mark.parametrize(
    ("reel", "ways"),
    [
        (framed(SWEEP), 2),  # by its chirps, and by itself
        (framed(Multitone(low_hz=300.0, high_hz=3000.0, period_s=0.5, sample_rate=RATE, periods=2)), 2),
        (Reel((QUIET, SWEEP, QUIET)), 1),
        (Reel((QUIET, CHIRP, QUIET, SWEEP, QUIET)), 1),  # one chirp is no pair
    ],
)
def test_a_stimulus_is_sought_after_a_pair_of_chirps_and_by_itself(reel, ways):
    """Each way gives the place itself, to a few samples."""
    first, _ = reel.only_stimulus()
    found = coarse(reel)
    assert found[0] == pytest.approx(700 + first, abs=2)
    assert len(found) == ways
    if ways == 2 and isinstance(reel.only_stimulus()[1], Sweep):
        assert found[1] == pytest.approx(700 + first, abs=2)


def test_a_pair_that_is_not_the_reels_own_is_told_from_the_stimulus_itself():
    """A tone of which the chirps lie as the reel says: a pair elsewhere in the file, louder and 0.3 s nearer to one
    another, is none."""
    reel = framed(Tone(frequency_hz=997.0, seconds=1.0, sample_rate=RATE))
    first, _ = reel.only_stimulus()
    one, other = reel.chirp_starts()
    samples = np.concatenate([np.zeros(20000), reel.samples()])
    chirp = 3.0 * reel.chirps()[0][1].samples()
    for place in (1000, 1000 + other - one - 2400):
        samples[place : place + chirp.size] += chirp
    samples += 1e-6 * np.random.default_rng(1).standard_normal(samples.size)
    found = find_reel(samples, reel)
    assert found.chirp_positions == pytest.approx([20000 + one, 20000 + other], abs=0.05)
    assert found.stimulus_start == pytest.approx(20000 + first, abs=0.05)
