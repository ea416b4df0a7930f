"""From where on a stretch of a recording, just after a sound, holds noise alone.

Power that decays into noise is `N (1 + r exp(-6 ln(10) t / T))`, T the reverberation time. Band by band the likelihood
of that is held against that of noise alone: the power of a block of Gaussian noise is gamma distributed about its mean.
Where the decay explains more than chance does, the stretch begins anew where what is left of it is a small share of the
noise, and is looked at again, since a room may decay in two slopes. So only a decay moves the beginning, never how loud
a part of the noise happens to be (own; tests/test_silences.py holds it against the closed form).
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import scipy

from signals.windows import hann

FloatArray = npt.NDArray[np.float64]

BLOCK_S = 0.05
"""Length of a block under a Hann window; the next begins half of it later."""

LOWEST_HZ = 30.0
"""Lower edge of the lowest band; the bands are an octave wide."""

DECAY_S = 0.05 * 1.3 ** np.arange(17)
"""Reverberation times that are tried: 0.05 to 3.3 s. What falls more slowly is taken for noise that changes."""

RATIO = 10.0 ** (0.1 * np.arange(-9.0, 100.0, 2.0))
"""Powers of the decay at the beginning, re the noise, that are tried: -9 to 99 dB."""

LOOKED_AT_S = 10.0
"""By then 100 dB have decayed even with the longest time that is tried, and more."""

LEAST_BLOCKS = 8

ALIKE_BINS = 1.94
"""Neighbouring bins under a Hann window that tell as much as one independent bin: 1 + 2 (4/9 + 1/36)."""

EVIDENCE = 7.0
"""Least logarithm of the likelihood ratio, in any of the ten bands. Of 450 stretches of noise (white, falling with f
and with f squared; 1 to 5 s) one in a hundred passes 6.4, the highest 7.7."""

BETTER = 3.0
"""A step of the noise, as of a fan that is switched off, is no decay: where it explains the blocks better by so much,
none is seen."""

LEAST = 1e-30

LEFT_SHARE = 0.02
"""Of the noise's power, on the mean over what is kept: 0.09 dB."""


def settled(samples: FloatArray, sample_rate: int) -> int:
    """First of `samples` `(n,)` from which on they hold noise alone; n where the decay goes on to their end."""
    hop = round(BLOCK_S * sample_rate) // 2
    bands = _bands(samples[: round(LOOKED_AT_S * sample_rate)], sample_rate)
    first, n_blocks = 0, bands.power.shape[1]
    while n_blocks - first >= LEAST_BLOCKS:
        further = _decay_blocks(_Bands(bands.power[:, first:], bands.shape))
        if further == 0:
            return first * hop
        first += further
    return samples.size if first else 0


@dataclass(frozen=True)
class _Bands:
    power: FloatArray  # (bands, blocks)
    shape: FloatArray  # (bands,), of the gamma distribution that noise gives each power


def _bands(samples: FloatArray, sample_rate: int) -> _Bands:
    """Power of every block in octaves."""
    size = round(BLOCK_S * sample_rate) // 2 * 2
    if samples.size < size:
        return _Bands(np.zeros((1, 0)), np.ones(1))
    blocks = np.lib.stride_tricks.sliding_window_view(samples, size)[:: size // 2]
    spectrum = scipy.fft.rfft((blocks - np.mean(blocks, axis=1, keepdims=True)) * hann(size), axis=1)
    power = np.square(spectrum.real) + np.square(spectrum.imag)
    first, counts = _octaves(size, sample_rate)
    summed = np.add.reduceat(power[:, : first[-1] + counts[-1]], first, axis=1)
    return _Bands((summed / counts).T, counts / ALIKE_BINS)


@lru_cache(maxsize=4)
def _octaves(size: int, sample_rate: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """First bin of each octave that holds two at least, and how many it holds; they follow one another."""
    octaves = math.ceil(math.log2(0.5 * sample_rate / LOWEST_HZ))
    edges_hz = LOWEST_HZ * 2.0 ** np.arange(octaves + 1)
    first = np.searchsorted(np.arange(size // 2 + 1) * (sample_rate / size), edges_hz)
    counts = np.diff(first)
    held = counts >= 2
    return first[:-1][held], counts[held]


def _evidence_of_a_step(power: FloatArray, shape: float) -> float:
    """That of noise which falls at once from one level to another, wherever that explains `power` `(blocks,)` best."""
    count = np.arange(1, power.size)
    so_far = np.cumsum(power)
    first, rest = so_far[:-1] / count, (so_far[-1] - so_far[:-1]) / (power.size - count)
    both = count * np.log(np.maximum(first, LEAST)) + (power.size - count) * np.log(np.maximum(rest, LEAST))
    return float(np.max(-shape * both))


@lru_cache(maxsize=4)
def _decays(blocks: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Every decay that is tried, re the noise, D: `(times, ratios, blocks)`; 1 / (1 + D); and the sum of log(1 + D)
    over the blocks. Kept, because the silences of a session are equally long."""
    time_s = np.arange(blocks) * BLOCK_S / 2.0
    decay = RATIO[:, np.newaxis] * np.exp(-6.0 * math.log(10.0) * time_s / DECAY_S[:, np.newaxis, np.newaxis])
    found = decay, 1.0 / (1.0 + decay), np.sum(np.log1p(decay), axis=2)
    for each in found:
        each.setflags(write=False)
    return found


def _decay_blocks(bands: _Bands) -> int:
    """How many blocks the longest decay among the bands takes; 0 where none is found."""
    blocks = bands.power.shape[1]
    decay, whitened, log_sum = _decays(blocks)
    longest = 0
    for power, shape in zip(bands.power, bands.shape, strict=True):
        mean = float(np.mean(power))
        if mean == 0.0:
            continue
        noise = whitened @ (power / mean) / blocks
        evidence = -shape * (blocks * np.log(noise) + log_sum)
        best = np.unravel_index(int(np.argmax(evidence)), evidence.shape)
        if evidence[best] >= EVIDENCE and evidence[best] > _evidence_of_a_step(power / mean, shape) - BETTER:
            left = np.cumsum(decay[best][::-1])[::-1] / np.arange(blocks, 0, -1)
            longest = max(longest, int(np.count_nonzero(left > LEFT_SHARE)))
    return longest
