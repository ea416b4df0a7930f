"""A piece of music through a loudspeaker of which only sweeps were recorded: what was meant, and what would come out.

    intended   = h * x                                     h the fundamental of the lowest step
    changed    = h * sum over steps k of a_1k (E_1k * x)   E_1k the fundamental of step k re that of the lowest
    distortion = h * sum over ways, orders n and steps k of a_nk y_nk

y_nk is order n with the kernels of step k (`structure`, `ways`), and a_nk says at each moment how near step k is to
what the music does: of r.m.s. s over 125 ms it acts on order n as a sine of amplitude `sqrt(2 (n + 1)) s`, between two
steps straight in dB, below the lowest as there. The means of Wick's order are those of the same 125 ms. This is a
likeness in spectrum and time, not the waveform. Beyond the loudest step nothing is synthesised.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.synthesis.kernels import ORDERS, Step, highest_drive_dbfs, kernels_at, level_rule_db
from distort.analysis.synthesis.path import fundamental_changes, impulse_samples, path_spectrum
from distort.analysis.synthesis.structure import ADVANCED, Kernel, Structure, kernel_of
from distort.analysis.synthesis.ways import Form, Way, ways_of
from distort.analysis.synthesis.wick import Pairs, wick_product
from distort.errors import AnalysisError
from signals.levels import FULL_SCALE_SINE_RMS, db_to_amplitude, power_to_db

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

MOMENT_S = 0.125
"""Over which the music's level counts: as long as the time weighting "fast" of sound level meters (IEC 61672-1, from
memory)."""

TAIL_S = 0.5
"""So much longer than the piece the sounds are: the room's decay."""

LEAD_S = MOMENT_S
"""Before the piece, while sounds are made: a mean about its first moment begins there."""

BLOCK_S, MARGIN_S = 10.0, 0.5
"""Products are made in such blocks, each with so much on either side, in which filters settle: it saves memory."""

KEPT_SHARE = 0.45
"""Of the sample rate: up to there products of what lies up to there are right. Order n, up to `0.45 n`, is made at so
many times the rate that what folds, down from there, comes no lower than 0.45: at `0.45 (n + 1)` times and more."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SynthesisedProgramme:
    """Sounds of `(n,)` each, full scale of the recorder, from the moment on at which the piece arrives."""

    intended: FloatArray
    changed: FloatArray
    """Through the response of each moment's level, nothing added."""
    distortion: FloatArray


def loudest_dbfs(piece: FloatArray, sample_rate: int) -> float:
    """r.m.s. of its loudest 125 ms, dBFS (AES17)."""
    return float(np.max(_moment_dbfs(piece, sample_rate)))


def synthesise(
    piece: FloatArray, sample_rate: int, *, steps: Sequence[Step], form: Form, turned_db: float = 0.0
) -> SynthesisedProgramme:
    """What `piece` `(n,)`, as it is played, becomes.

    steps      of sweeps at the same sample rate
    turned_db  by how much the volume was turned up

    Raises AnalysisError where a moment of the piece is louder than the sweeps tell.
    """
    over_db = loudest_dbfs(piece, sample_rate) + turned_db - highest_drive_dbfs(steps)
    if over_db > 0.0:
        raise AnalysisError(
            f"the loudest moments of the music are {over_db:.1f} dB beyond what the sweeps tell: choose a level that "
            f"much lower, or record sweeps that much louder"
        )
    steps = sorted(steps, key=lambda step: step.drive_dbfs)
    response = steps[0].response
    lead = round(LEAD_S * sample_rate)
    longest = max(lead + piece.size + round(TAIL_S * sample_rate), impulse_samples(response, sample_rate))
    size = int(scipy.fft.next_fast_len(longest, real=True))
    x = np.zeros(size)
    x[lead : lead + piece.size] = piece * float(db_to_amplitude(turned_db))
    path = path_spectrum(response, size, sample_rate)
    changed, added = np.zeros(size), np.zeros(size)
    margin, block = round(MARGIN_S * sample_rate), round(BLOCK_S * sample_rate)
    padded = np.pad(x, margin)
    for first in range(0, size, block):
        last = min(first + block, size)
        playing = _Playing(samples=padded[first : last + 2 * margin], sample_rate=sample_rate, steps=steps)
        changed[first:last] = playing.changed()[margin : margin + last - first]
        added[first:last] = playing.added(form)[margin : margin + last - first]

    def heard(played: FloatArray) -> FloatArray:
        return np.asarray(scipy.fft.irfft(scipy.fft.rfft(played) * path, size)[lead:])

    return SynthesisedProgramme(intended=heard(x), changed=heard(changed), distortion=heard(added))


def _moving_mean(values: FloatArray, sample_rate: float) -> FloatArray:
    """Over 125 ms about each sample."""
    return np.asarray(scipy.ndimage.uniform_filter1d(values, round(MOMENT_S * sample_rate), mode="constant"))


def _moment_dbfs(samples: FloatArray, sample_rate: int) -> FloatArray:
    mean = np.maximum(_moving_mean(np.square(samples), sample_rate), 0.0)  # rounding
    return power_to_db(mean / FULL_SCALE_SINE_RMS**2)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Playing:
    """A stretch of the piece as it is played, and the steps from the lowest up."""

    samples: FloatArray
    sample_rate: int
    steps: Sequence[Step]

    def changed(self) -> FloatArray:
        """Through the response of each moment's level, re that of the lowest step."""
        way = Way(kernels=(), crossover_hz=None)
        kernels = [kernel_of(1, change) for change in fundamental_changes(self.steps)]
        return self._of_order(1, way, Structure(), kernels)

    def added(self, form: Form) -> FloatArray:
        """All orders of all ways."""
        added = np.zeros(self.samples.size)
        for order in ORDERS:
            of_steps = [kernels_at(self.steps, step.drive_dbfs - level_rule_db(order)) for step in self.steps]
            ways = [ways_of({order: known[order]}, form.crossover_hz) for known in of_steps if order in known]
            for number, same in enumerate(zip(*ways, strict=True)):
                kernels = [next(iter(way.kernels), None) for way in same]
                added += self._of_order(order, same[0], form.structure(number, order), kernels)
        return added

    def _of_order(self, order: int, way: Way, structure: Structure, kernels: Sequence[Kernel | None]) -> FloatArray:
        """One order of one way; `kernels` a step each."""
        size, fine = self.samples.size, math.ceil(KEPT_SHARE * (order + 1))
        frequency_hz = np.asarray(np.arange(size // 2 + 1) * (self.sample_rate / size), dtype=np.float64)
        played = np.asarray(scipy.fft.rfft(self.samples) * way.share(frequency_hz), dtype=np.complex128)
        x = scipy.fft.irfft(played, fine * size) * fine
        made = np.zeros(size // 2 + 1, dtype=np.complex128)
        for kernel, weight in zip(kernels, self._weights(order), strict=True):
            if kernel is None or not np.any(weight):
                continue
            advanced = kernel.advanced_from(structure.advance_hz)
            for q, share in structure.parts(order).items():
                of_u, of_x = advanced.factors(q)
                u = scipy.fft.irfft(played * advanced.before(q, frequency_hz), fine * size) * fine if of_u else x
                beside = x
                if q == ADVANCED:
                    beside = scipy.fft.irfft(played * advanced.beside(q, frequency_hz), fine * size) * fine
                product = self._wick(u, beside, of_u=of_u, of_x=of_x) * np.repeat(weight, fine)
                spectrum = scipy.fft.rfft(product)[: size // 2 + 1] * (share / fine)
                made += spectrum * advanced.after(q, frequency_hz)
        return np.asarray(scipy.fft.irfft(made, size))

    def _wick(self, u: FloatArray, x: FloatArray, *, of_u: int, of_x: int) -> FloatArray:
        rate = self.sample_rate * x.size / self.samples.size
        pairs = Pairs(
            uu=_moving_mean(u * u, rate) if of_u > 1 else 0.0,
            ux=_moving_mean(u * x, rate) if of_u and of_x else 0.0,
            xx=_moving_mean(x * x, rate) if of_x > 1 else 0.0,
        )
        return wick_product(u, x, of_u=of_u, of_x=of_x, pairs=pairs)

    def _weights(self, order: int) -> Iterator[FloatArray]:
        """How near each step is to what the music does at each moment, `(samples,)` each; together 1."""
        drives = [step.drive_dbfs for step in self.steps]
        at = _moment_dbfs(self.samples, self.sample_rate) + level_rule_db(order)
        for one in np.eye(len(drives)):
            yield np.asarray(np.interp(at, drives, one))
