"""Chirps in a long recording: how near they may be to one another, what is sound, and what follows on them."""

import numpy as np
import pytest

from distort.recording.alignment.chirp_places import _Search, find_peaks, hear_chirp
from distort.session.audio.long_recording import InMemory
from signals import Chirp

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
