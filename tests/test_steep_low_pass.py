"""A sweep behind a steep low-pass, as close to a port, is found by its lows; what is no such sweep is not."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
import scipy.signal

from distort.errors import WrongStimulusError
from distort.recording.alignment.locating import Alignment, find_reel
from distort.recording.alignment.lows import through_lows
from distort.recording.quality.check import check_recording
from signals import Reel, Silence, Sweep, framed

RATE = 16000
SWEEP = Sweep(sample_rate=RATE, stop_hz=7000.0, seconds=4.0)
REEL = framed(SWEEP)
DELAY = 4000


def _behind(reel: Reel, order: int, corner_hz: float) -> npt.NDArray[np.float64]:
    """A low-pass of Butterworth's (scipy), and noise 80 dB under full scale."""
    played = np.pad(reel.samples(), (DELAY, DELAY))
    low = scipy.signal.sosfilt(scipy.signal.butter(order, corner_hz, fs=RATE, output="sos"), played)
    return np.asarray(low + 1e-4 * np.random.default_rng(order).standard_normal(low.size))


def _found(samples: npt.NDArray[np.float64]) -> Alignment:
    return find_reel(samples, REEL)


@pytest.mark.parametrize(("order", "corner_hz"), [(3, 40.0), pytest.param(4, 50.0, marks=pytest.mark.sample)])
def test_a_sweep_is_found_behind_a_steep_low_pass(order: int, corner_hz: float) -> None:
    """It arrives late by the low-pass's group delay: at 0 Hz the sum of sin(pi (2 k - 1) / 2 n) / (2 pi f_c) over its
    n poles (closed form), 8.0 and 8.3 ms; at the corner up to twice that (scipy.signal.group_delay)."""
    samples = _behind(REEL, order, corner_hz)
    found = _found(samples)
    late_s = (found.stimulus_start - DELAY - REEL.only_stimulus()[0]) / RATE
    assert 0.0 < late_s < 0.022
    quality = check_recording(samples, reel=REEL, alignment=found)
    assert quality.verdict == "usable"
    assert quality.finding("stimulus").verdict == "good"
    assert "clock" in {one.name for one in quality.troubles()}


def test_another_sweep_or_noise_behind_it_is_not_found() -> None:
    other = Reel(tuple(replace(one, seconds=3.6) if isinstance(one, Sweep) else one for one in REEL.items))
    lacking = REEL.n_samples - other.n_samples
    longer = Reel((*other.items, Silence(seconds=lacking / RATE, sample_rate=RATE)))
    with pytest.raises(WrongStimulusError, match="Nothing in this recording"):
        _found(_behind(longer, 4, 45.0))
    noise = np.random.default_rng(1).standard_normal(REEL.n_samples + 2 * DELAY)
    with pytest.raises(WrongStimulusError, match="Nothing in this recording"):
        _found(scipy.signal.sosfilt(scipy.signal.butter(4, 45.0, fs=RATE, output="sos"), noise))


def test_what_passes_the_whole_sweep_is_not_looked_at_by_its_lows() -> None:
    """There a sweep of nearly the same length would stand out as well."""
    assert through_lows(SWEEP.samples(), SWEEP, SWEEP.samples()) is None
