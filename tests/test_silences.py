"""Where a recording holds noise alone: decays of known reverberation time into noise of known density, digital zeros,
other sounds in the file."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.sweep.noise import noise_density
from distort.recording.alignment.settling import settled
from distort.recording.alignment.silences import recorded_silences
from distort.session.audio.resampling import resample
from signals import Reel, Sweep

RATE = 16000
SWEEP = Sweep(seconds=2.0, sample_rate=RATE, start_hz=50.0, full_level_hz=70.0, stop_hz=7000.0, drive_dbfs=-6.0)
BARE = Reel((SWEEP,))
NOISE = 1e-4


def white(seconds: float, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(round(seconds * RATE))


def decay(seconds: float, seed: int, *, above_db: float, rt60_s: float) -> np.ndarray:
    """Noise that begins `above_db` over unit variance and falls by 60 dB in `rt60_s`."""
    time_s = np.arange(round(seconds * RATE)) / RATE
    return white(seconds, seed) * 10.0 ** (above_db / 20.0 - 3.0 * time_s / rt60_s)


def bare(before_s: float, after_s: float, *, gain: float = 0.1) -> np.ndarray:
    heard = np.pad(gain * SWEEP.samples(), (round(before_s * RATE), round(after_s * RATE)))
    return heard + NOISE * np.random.default_rng(1).standard_normal(heard.size)


@pytest.mark.parametrize(
    ("above_db", "rt60_s", "seconds"), [(10.0, 0.3, 2.0), (40.0, 0.3, 3.0), (60.0, 0.5, 3.0), (60.0, 1.0, 3.0)]
)
def test_noise_behind_a_decay_is_read_without_bias(above_db, rt60_s, seconds):
    """Density 2 s^2 / fs of white noise of variance s^2. Forty stretches of 1.5 s and more tell an octave of 700 Hz
    to 0.03 dB; 2 % of decay that may be left add 0.09. What lies 17 dB (2 %) under the noise marks the decay's own end,
    and no more than 0.3 s are given away beside it."""
    read, kept_s = [], []
    for seed in range(40):
        samples = white(seconds, seed) + decay(seconds, 1000 + seed, above_db=above_db, rt60_s=rt60_s)
        kept = samples[settled(samples, RATE) :]
        kept_s.append(kept.size / RATE)
        density = noise_density([kept], sample_rate=RATE)
        inside = (density.frequency_hz > 707.0) & (density.frequency_hz < 1414.0)
        read.append(np.mean(density.density[inside]) * RATE / 2.0)
    assert abs(10.0 * np.log10(np.mean(read))) < 0.15
    assert np.mean(kept_s) == pytest.approx(seconds - rt60_s * (above_db + 17.0) / 60.0, abs=0.3)


@pytest.mark.parametrize("slope", [0.0, 0.5, 1.0])
def test_noise_alone_is_kept_whole(slope):
    """White, and falling with f and f squared: one stretch in a hundred loses anything, so of 60 at most two do."""
    lost = 0
    for seed in range(60):
        spectrum = np.fft.rfft(white(2.0, seed))
        spectrum /= np.maximum(np.fft.rfftfreq(2 * RATE, 1.0 / RATE), 5.0) ** slope
        lost += settled(np.fft.irfft(spectrum), RATE) > 0
    assert lost <= 2


def test_noise_that_falls_at_once_is_no_decay():
    """A fan that is switched off, by 10 dB."""
    samples = white(3.0, 1)
    samples[round(1.2 * RATE) :] *= 10.0 ** (-10.0 / 20.0)
    assert settled(samples, RATE) == 0


def test_a_decay_that_goes_on_leaves_nothing():
    samples = decay(1.0, 1, above_db=60.0, rt60_s=1.0) + white(1.0, 2)
    assert samples.size - settled(samples, RATE) < 0.5 * RATE


def test_a_bare_sweep_has_all_that_was_recorded_beside_it():
    """All before and after it, 5 ms of which are kept from the sweep; under half a second is none."""
    end = round(2.5 * RATE) + SWEEP.n_samples
    found = recorded_silences(bare(2.5, 3.0), BARE, start=2.5 * RATE)
    assert found.spans == ((0, round(2.495 * RATE)), (end, end + 3 * RATE))
    found = recorded_silences(bare(0.0, 3.0), BARE, start=0.0)
    assert [last - first for first, last in found.spans] == [3 * RATE]
    assert recorded_silences(bare(0.4, 0.4), BARE, start=0.4 * RATE).spans == ()


@pytest.mark.parametrize("value", [0.0, -3.0 * 2.0**-15])
def test_digital_zeros_are_a_muted_recorder(value):
    """Whatever value they hold, and at another sample rate."""
    samples = bare(2.0, 3.0)
    end = 2 * RATE + SWEEP.n_samples
    samples[:RATE] = value
    samples[end + RATE :] = value
    found = recorded_silences(samples, BARE, start=2.0 * RATE)
    assert found.spans == ((RATE, round(1.995 * RATE)), (end, end + RATE))
    assert found.muted_s == pytest.approx(3.0, abs=1e-3)
    samples[: 2 * RATE] = value
    samples[end:] = value
    assert recorded_silences(samples, BARE, start=2.0 * RATE).spans == ()
    at_rate = resample(samples, from_rate=RATE, to_rate=2 * RATE)
    twice = Reel((replace(SWEEP, sample_rate=2 * RATE),))
    assert recorded_silences(at_rate, twice, start=4.0 * RATE).spans == ()


def test_noise_of_a_fifth_of_a_step_is_no_digital_zero():
    """Gaussian: 1.2 % of the samples are a step off zero (more than 2.5 standard deviations)."""
    step = 2.0**-15
    samples = np.round(0.2 * white(2.0 + SWEEP.n_samples / RATE + 3.0, 1)) * step
    samples[2 * RATE : 2 * RATE + SWEEP.n_samples] += 0.1 * SWEEP.samples()
    kept = sum(last - first for first, last in recorded_silences(samples, BARE, start=2.0 * RATE).spans)
    assert kept > 4.9 * RATE


def test_the_next_sweep_in_the_file_is_no_silence_and_a_door_is():
    """10 dB weaker, as that of a lower level, a second of silence about each; a third of a second is noise."""
    lower = bare(1.0, 1.0, gain=0.03)
    samples = np.concatenate([lower, bare(1.0, 1.0), lower])
    start = lower.size + RATE
    spans = recorded_silences(samples, BARE, start=float(start)).spans
    assert len(spans) == 2
    # two looks of a tenth of a second, in which the other sweep fades
    assert spans[0][0] == pytest.approx(lower.size - RATE, abs=0.2 * RATE)
    assert spans[1][1] == pytest.approx(start + SWEEP.n_samples + 2 * RATE, abs=0.2 * RATE)
    slammed = bare(1.0, 3.0)
    slammed[-RATE : -RATE + RATE // 3] += 0.05 * white(1.0, 3)[: RATE // 3]
    assert recorded_silences(slammed, BARE, start=1.0 * RATE).spans[1][1] == slammed.size
