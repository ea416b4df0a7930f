"""Clock chirps in a recording that may be long: where they lie, sought block by block, and how exactly.

A chirp is compared with what is heard by normalised correlation, within its own band: 1 where nothing but the chirp is
heard, whatever its level, so that a sweep 30 dB louder does not pass for one.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.recording.alignment.clock import repair_clock
from distort.recording.alignment.matched import correlate, summit
from distort.session.audio.long_recording import LongRecording
from signals import Chirp
from signals.levels import db_to_amplitude
from signals.tapers import log_rise

FloatArray = npt.NDArray[np.float64]

BLOCK_S = 20.0
"""Read and transformed at a time: 15 MB at 96 kHz."""

LEAST_LIKENESS = 0.2
"""Normalised correlation from which a peak is looked at. Noise over 0.1 s and 11.5 kHz stays under 0.12 in half an hour
(5.5 standard deviations of 1 / sqrt(2300)); a chirp 10 dB below the noise of its band still has 0.3."""

APART_S = 0.4
"""Peaks nearer than this are one: two chirps of a reel are at least a second apart."""

LEAST_ENERGY = 1e-11
"""Of a chirp, as a share of its block's: a chirp 40 dB below a sweep of 20 s still has 5e-7."""

BAND_EDGE_OCTAVES = 0.05

BEFORE_S, AFTER_S = 0.25, 0.01
"""Noise is read in the filter's output from 0.25 s to 0.01 s before a chirp: behind it the room still rings."""


@dataclass(frozen=True, kw_only=True)
class Peaks:
    """Places that are like the chirp, ascending, `(n,)` both."""

    place: FloatArray
    """Of the chirp's first sample, samples of the recording."""
    likeness: FloatArray
    """Normalised correlation, 0 to 1."""


@dataclass(frozen=True, kw_only=True)
class ChirpHeard:
    """One chirp, placed exactly."""

    place: float
    """Of its first sample, samples of the recording, with fraction."""
    sigma: float
    """Standard deviation that noise leaves to it, samples."""
    margin_db: float
    """How far it stands above the filter's output before it."""
    polarity: int
    response: FloatArray
    """The matched filter's output about the place, `(n,)`: the way from player to recorder."""
    shift: float
    """`place` less the whole sample at which `response` is centred."""


RESPONSE_S = (0.003, 0.021)
"""Of the filter's output: before and after a chirp's place. The direct sound and the early room."""


def resampled_chirp(chirp: Chirp, sample_rate: int) -> Chirp:
    """The same chirp at the rate of a recording. Raises SignalError when it reaches beyond half that rate."""
    return Chirp(
        low_hz=chirp.low_hz,
        high_hz=chirp.high_hz,
        seconds=chirp.seconds,
        sample_rate=sample_rate,
        drive_dbfs=chirp.drive_dbfs,
    )


def find_peaks(recording: LongRecording, chirp: Chirp) -> Peaks:
    """Every place of `recording` that is like `chirp`, which has its sample rate."""
    search = _Search.of(chirp)
    step = search.n_block - search.n_chirp
    places: list[FloatArray] = [np.empty(0)]
    likenesses: list[FloatArray] = [np.empty(0)]
    for first in range(0, max(recording.n_samples - search.n_chirp, 1), step):
        likeness = search.likeness(recording.part(first, first + search.n_block))
        above = np.flatnonzero(likeness >= LEAST_LIKENESS)
        places.append(np.asarray(first + above * search.factor))
        likenesses.append(likeness[above])
    return _strongest(np.concatenate(places), np.concatenate(likenesses), apart=APART_S * chirp.sample_rate)


def _strongest(place: FloatArray, likeness: FloatArray, *, apart: float) -> Peaks:
    """The strongest first, each keeping others away from itself."""
    free = np.ones(place.size, dtype=bool)
    chosen = []
    for index in np.argsort(-likeness, kind="stable"):
        if free[index]:
            chosen.append(int(index))
            low, high = np.searchsorted(place, [place[index] - apart, place[index] + apart])
            free[low:high] = False
    order = sorted(chosen)
    return Peaks(place=place[order], likeness=likeness[order])


@dataclass(frozen=True, kw_only=True)
class _Search:
    """The matched filter of one chirp for blocks of one length; its output is thinned to what the band needs."""

    n_block: int
    n_chirp: int
    n_out: int
    factor: float
    weight: FloatArray
    matched: npt.NDArray[np.complex128]
    norm: float

    @classmethod
    def of(cls, chirp: Chirp) -> "_Search":
        n_block = scipy.fft.next_fast_len(round(BLOCK_S * chirp.sample_rate), real=True)
        highest = math.ceil(chirp.high_hz * 2.0 ** (2.0 * BAND_EDGE_OCTAVES) * n_block / chirp.sample_rate)
        n_out = min(scipy.fft.next_fast_len(2 * highest, real=True), n_block)
        frequency_hz = np.asarray(np.arange(n_out // 2 + 1) * (chirp.sample_rate / n_block), dtype=np.float64)
        edge = 2.0**BAND_EDGE_OCTAVES
        weight = log_rise(frequency_hz, from_hz=chirp.low_hz / edge, to_hz=chirp.low_hz) * log_rise(
            frequency_hz, from_hz=chirp.high_hz * edge, to_hz=chirp.high_hz
        )
        spectrum = scipy.fft.rfft(chirp.samples(), n_block)[: weight.size] * weight
        within = scipy.fft.irfft(spectrum, n_out)
        return cls(
            n_block=n_block,
            n_chirp=chirp.n_samples,
            n_out=n_out,
            factor=n_block / n_out,
            weight=weight,
            matched=np.asarray(np.conj(spectrum) * weight),
            norm=math.sqrt(float(np.sum(np.square(within)))),
        )

    def likeness(self, block: FloatArray) -> FloatArray:
        """Normalised correlation at each lag at which the whole chirp lies in the block, one in `factor` samples."""
        spectrum = scipy.fft.rfft(block, self.n_block)[: self.weight.size]
        output = scipy.fft.irfft(spectrum * self.matched, self.n_out)
        within = scipy.fft.irfft(spectrum * self.weight, self.n_out)
        length = round(self.n_chirp / self.factor)
        energy = np.cumsum(np.concatenate([[0.0], np.square(within)]))
        if energy[-1] == 0.0:
            return np.zeros(energy.size - length)
        # the running sum is rounded at 1e-13 of the whole: where nothing is heard, that would be taken for sound
        held = np.maximum(energy[length:] - energy[:-length], LEAST_ENERGY * energy[-1])
        return np.asarray(np.abs(output[: held.size]) / (self.norm * np.sqrt(held)))


def hear_chirp(recording: LongRecording, chirp: Chirp, *, near: float, clock: float) -> ChirpHeard:
    """The chirp within a few milliseconds of the place `near`.

    clock   recorder against player, a ratio less 1; stretching the chirp by it keeps its place from moving
    """
    template = as_recorded(chirp.samples(), clock, chirp.sample_rate)
    rate = chirp.sample_rate
    first = math.floor(near) - round((BEFORE_S + RESPONSE_S[0]) * rate) - 64
    end = math.floor(near) + template.size + round((RESPONSE_S[1] + 0.01) * rate)
    output = correlate(recording.part(first, end), template)
    lag = output.between(near - first - 0.005 * rate, near - first + 0.005 * rate).highest()
    background = output.between(lag - BEFORE_S * rate, lag - AFTER_S * rate).values
    noise = math.sqrt(float(np.mean(np.square(background))))
    around = output.between(lag - RESPONSE_S[0] * rate, lag + RESPONSE_S[1] * rate)
    top = summit(output, lag)
    margin_db = 20.0 * math.log10(max(abs(output.at(lag)), 1e-300) / max(noise, 1e-300))
    return ChirpHeard(
        place=first + top,
        sigma=place_sigma(chirp, margin_db),
        margin_db=margin_db,
        polarity=1 if output.at(lag) > 0 else -1,
        response=around.values,
        shift=top - lag,
    )


def place_sigma(chirp: Chirp, margin_db: float) -> float:
    """Standard deviation in samples of a peak's place: `1 / (omega_rms signal-to-noise)`, both of the filter's output
    (the Cramer-Rao bound of delay; Kay, Fundamentals of Statistical Signal Processing I, 3.11, from memory)."""
    energy = np.square(np.abs(scipy.fft.rfft(chirp.samples())))
    omega = 2.0 * np.pi * scipy.fft.rfftfreq(chirp.n_samples)
    omega_rms = math.sqrt(float(np.average(np.square(omega), weights=energy)))
    return 1.0 / (omega_rms * float(db_to_amplitude(margin_db)))


def as_recorded(signal: FloatArray, clock: float, sample_rate: int) -> FloatArray:
    """`signal` as a recorder whose clock is `clock` fast writes it; itself where that is not at all."""
    if clock == 0.0:
        return signal
    return repair_clock(signal, 1e6 * (1.0 / (1.0 + clock) - 1.0), sample_rate)
