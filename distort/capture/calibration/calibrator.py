"""What a sound calibrator's recording says: the digital level that its known sound pressure level stands for.

The tone is fitted second by second with a sine of four unknowns, two amplitudes, a constant and the frequency
(IEEE 1057, sine fit, from memory), so that noise and hum, which an r.m.s. reading would count in, stay out. A block a
second long tolerates the slow drift in frequency of a cheap oscillator, over which one long fit would lose its phase.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.errors import CalibrationError
from distort.recording.quality.clipping import clipped_samples
from signals.levels import NOTHING_DB, amplitude_to_db, power_to_db, spl_of_full_scale

FloatArray = npt.NDArray[np.float64]

LOOK_S = 0.1
"""Blocks in which the steady part is sought."""

BLOCK_S = 1.0
"""Blocks that are fitted, and over which steadiness is stated."""

SHORTEST_S = 3.0
"""Three blocks: fewer say nothing about steadiness."""

SAME_LEVEL_DB = 0.5
"""Two neighbouring looks that differ by more do not belong to one steady tone: somebody is handling the calibrator."""

FREQUENCY_TOLERANCE = 0.02
"""Share by which a calibrator of class 2 may be off its nominal frequency (IEC 60942, from memory)."""

LARGEST_SPREAD_DB = 0.2
"""Twice the short-term fluctuation allowed to a class 1 calibrator, 0.1 dB (IEC 60942, from memory)."""

LARGEST_HARMONIC_PERCENT = 3.0
"""Total distortion allowed to a class 1 calibrator (IEC 60942, from memory): more means a leak or a flat battery."""

HARMONICS = (2, 3, 4, 5)

MOST_STEPS = 10
"""Of a fit. It settles in three or four, each squaring the error (Newton)."""

SETTLED_HZ = 1e-7
"""Turns the phase at the end of a block by 3e-7: nothing in the level."""

LEAST_MARGIN_DB = 6.0
"""Tone over all the rest of its octave-wide neighbourhood, below which there is no tone to speak of."""

PLAUSIBLE_SPL_OF_FULL_SCALE = (100.0, 145.0)
"""dB. Measurement microphones at usual gains lie between; outside, 94 and 114 dB were mixed up, or a pad is in."""


@dataclass(frozen=True, kw_only=True)
class CalibratorReading:
    """What one calibrator recording says. A full-scale sine is 0 dBFS (AES17)."""

    calibrator_dbfs: float
    """Level of the tone alone."""
    frequency_hz: float
    stability_db: float
    """Highest less lowest of its levels over blocks of a second."""
    harmonic_percent: float
    """r.m.s. sum of harmonics 2 to 5 re the fundamental."""
    spl_of_full_scale: float
    """dB re 20 uPa at 0 dBFS."""
    steady_s: tuple[float, float]
    """Where in the recording the steady tone lies, seconds."""
    warnings: tuple[str, ...]
    """Sentences a person should answer before the reading is used."""


@dataclass(frozen=True)
class _Sine:
    amplitude: float
    frequency_hz: float
    rest_power: float


def calibrator_level(
    recording: npt.ArrayLike, *, sample_rate: int, db_spl: float, expected_hz: Sequence[float] = (1000.0, 250.0)
) -> CalibratorReading:
    """Read the tone of a calibrator of `db_spl` dB re 20 uPa from `recording` `(samples,)`, full scale 1.

    The calibrator may be put on late and taken off early; three steady seconds are needed. Raises CalibrationError
    when there is no steady tone, or it is too short, more than 2 % off every frequency in `expected_hz`, unsteady by
    more than 0.2 dB, clipped, or distorted by more than 3 %.
    """
    samples = np.asarray(recording, dtype=np.float64)
    _require_sound(samples, sample_rate, db_spl)
    rough_hz = _loudest_hz(samples, sample_rate, expected_hz)
    first, end = _steady_part(samples, sample_rate, rough_hz)
    steady = samples[first:end]
    _require_unclipped(steady, first, sample_rate)
    fits = _fits(steady, sample_rate, rough_hz)
    frequency_hz = float(np.mean([fit.frequency_hz for fit in fits]))
    levels_dbfs = amplitude_to_db([fit.amplitude for fit in fits])
    stability_db = float(np.ptp(levels_dbfs))
    calibrator_dbfs = float(power_to_db(np.mean(np.square([fit.amplitude for fit in fits]))))
    harmonic_percent = _harmonic_percent(steady, fits, sample_rate)
    _require_calibrator(frequency_hz, stability_db, harmonic_percent, expected_hz=expected_hz)
    full_scale = spl_of_full_scale(calibrator_dbfs=calibrator_dbfs, calibrator_db_spl=db_spl)
    return CalibratorReading(
        calibrator_dbfs=calibrator_dbfs,
        frequency_hz=frequency_hz,
        stability_db=stability_db,
        harmonic_percent=harmonic_percent,
        spl_of_full_scale=full_scale,
        steady_s=(first / sample_rate, end / sample_rate),
        warnings=_warnings(full_scale, db_spl=db_spl, calibrator_dbfs=calibrator_dbfs),
    )


def _require_sound(samples: FloatArray, sample_rate: int, db_spl: float) -> None:
    if samples.ndim != 1:
        raise ValueError(f"calibrator_level takes one channel (samples,), not an array of shape {samples.shape}")
    if not math.isfinite(db_spl):
        raise CalibrationError(f"The calibrator's level must be a number in dB SPL, not {db_spl}.")
    if not np.all(np.isfinite(samples)):
        raise CalibrationError("The calibrator recording holds samples that are no numbers: record it again.")
    if samples.size < SHORTEST_S * sample_rate:
        raise CalibrationError(
            f"The calibrator recording is {samples.size / sample_rate:.1f} s long: at least {SHORTEST_S:g} s of steady "
            f"tone are needed. Record ten seconds."
        )
    if not np.any(samples != samples[0]):
        raise CalibrationError(
            "The calibrator recording is silent: switch the calibrator on, check channel and gain, and record again."
        )


def _loudest_hz(samples: FloatArray, sample_rate: int, expected_hz: Sequence[float]) -> float:
    """Frequency of the strongest line from half the lowest to twice the highest frequency expected."""
    low_hz, high_hz = 0.5 * min(expected_hz), min(2.0 * max(expected_hz), 0.45 * sample_rate)
    frequency, power = scipy.signal.periodogram(samples, sample_rate, window="hann")
    inside = (frequency >= low_hz) & (frequency <= high_hz)
    return float(frequency[inside][np.argmax(power[inside])])


def _steady_part(samples: FloatArray, sample_rate: int, rough_hz: float) -> tuple[int, int]:
    """(first, end) of the longest stretch whose level stays within `SAME_LEVEL_DB` from look to look, ends trimmed."""
    look = round(LOOK_S * sample_rate)
    looks = samples[: samples.size // look * look].reshape(-1, look)
    window = scipy.signal.windows.hann(look, sym=False)
    turns = np.exp(-2j * np.pi * rough_hz / sample_rate * np.arange(look))
    level_db = amplitude_to_db(looks @ (window * turns))
    loud = level_db > np.max(level_db) - 20.0
    joined = loud[1:] & loud[:-1] & (np.abs(np.diff(level_db)) < SAME_LEVEL_DB)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], joined.astype(np.int8), [0]])))
    if edges.size == 0:
        raise CalibrationError(_no_tone())
    starts, ends = edges[0::2], edges[1::2] + 1  # a run of joints i..j joins looks i..j + 1
    longest = int(np.argmax(ends - starts))
    first, end = int(starts[longest]) + 1, int(ends[longest]) - 1  # the first and last look hold the hand's movement
    seconds = (end - first) * LOOK_S
    if seconds < 1.0:
        raise CalibrationError(_no_tone())
    if seconds < SHORTEST_S:
        raise CalibrationError(
            f"The calibrator's tone is steady for {seconds:.1f} s only, from {first * LOOK_S:.1f} s: at least "
            f"{SHORTEST_S:g} s are needed. Record ten seconds with the calibrator untouched."
        )
    return first * look, end * look


def _no_tone() -> str:
    return (
        "The calibrator recording holds no steady tone: push the calibrator right onto the microphone, switch it on, "
        "check the channel, and record again."
    )


def _require_unclipped(steady: FloatArray, first: int, sample_rate: int) -> None:
    clipped = clipped_samples(steady)
    if clipped.size:
        raise CalibrationError(
            f"The calibrator recording is clipped ({clipped.size} samples, the first at "
            f"{(first + clipped[0]) / sample_rate:.2f} s): lower the input gain, and calibrate again."
        )


def _fits(steady: FloatArray, sample_rate: int, rough_hz: float) -> list[_Sine]:
    """One fitted sine for each whole block. Raises CalibrationError when the tone does not stand out in them."""
    block = round(BLOCK_S * sample_rate)
    fits = [
        _fit_sine(steady[first : first + block], sample_rate, rough_hz)
        for first in range(0, steady.size - block + 1, block)
    ]
    tone = float(np.mean([fit.amplitude**2 / 2.0 for fit in fits]))
    rest = float(np.mean([fit.rest_power for fit in fits]))
    if power_to_db(tone) - power_to_db(rest) < LEAST_MARGIN_DB:
        raise CalibrationError(_no_tone())
    return fits


def _fit_sine(block: FloatArray, sample_rate: int, start_hz: float) -> _Sine:
    """Least squares of `a cos + b sin + c` with the frequency refined (IEEE 1057, four parameters), Hann-weighted.

    The weight keeps hum and harmonics, which are not orthogonal to the tone in a block, from leaking into it. Time is
    counted from the block's middle, and frequency enters by its derivative, `t (b cos - a sin) d_omega`.
    `rest_power` is the mean square of what is left within half to twice the frequency, weighted alike.
    """
    time = (np.arange(block.size) - (block.size - 1) / 2.0) / sample_rate
    weight = np.sqrt(scipy.signal.windows.hann(block.size, sym=False))
    weighted = block * weight
    frequency_hz = start_hz
    a = b = 0.0
    for step in range(MOST_STEPS):
        turned = weight * np.exp(2j * np.pi * frequency_hz * time)
        rows = [turned.real, turned.imag, weight]
        if step:
            rows.append(time * (b * turned.real - a * turned.imag))
        model = np.stack(rows)
        solution = np.linalg.solve(model @ model.T, model @ weighted)
        a, b = float(solution[0]), float(solution[1])
        change_hz = float(solution[3]) / (2.0 * np.pi) if step else math.inf
        if abs(change_hz) < SETTLED_HZ:
            break
        frequency_hz += change_hz if step else 0.0
    rest = weighted - solution @ model
    return _Sine(math.hypot(a, b), frequency_hz, _power_about(rest, sample_rate, frequency_hz))


def _power_about(rest: FloatArray, sample_rate: int, frequency_hz: float) -> float:
    """Mean square of `rest`, which carries the root of a Hann weight, from half to twice `frequency_hz`."""
    frequency, power = scipy.signal.periodogram(rest, sample_rate, detrend=False, scaling="spectrum")
    inside = (frequency >= 0.5 * frequency_hz) & (frequency <= 2.0 * frequency_hz)
    return 2.0 * float(np.sum(power[inside]))  # a Hann weight takes half the power


def _harmonic_percent(steady: FloatArray, fits: list[_Sine], sample_rate: int) -> float:
    """r.m.s. sum of the harmonics below half the sample rate re the fundamental, percent, power mean over blocks."""
    block = round(BLOCK_S * sample_rate)
    window = scipy.signal.windows.hann(block, sym=False)
    time = np.arange(block) / sample_rate
    total = fundamental = 0.0
    for number, fit in enumerate(fits):
        part = steady[number * block : (number + 1) * block] * window
        fundamental += fit.amplitude**2
        for order in HARMONICS:
            if order * fit.frequency_hz < 0.5 * sample_rate:
                turned = part @ np.exp(-2j * np.pi * order * fit.frequency_hz * time)
                total += float(abs(2.0 * turned / np.sum(window)) ** 2)
    return 100.0 * math.sqrt(total / fundamental)


def _require_calibrator(
    frequency_hz: float, stability_db: float, harmonic_percent: float, *, expected_hz: Sequence[float]
) -> None:
    if not any(abs(frequency_hz / nominal - 1.0) <= FREQUENCY_TOLERANCE for nominal in expected_hz):
        named = " or ".join(f"{nominal:g} Hz" for nominal in expected_hz)
        raise CalibrationError(
            f"The tone in the calibrator recording has {frequency_hz:.1f} Hz, more than 2 % off {named}: "
            f"is it the calibrator's, at the right sample rate?"
        )
    if stability_db > LARGEST_SPREAD_DB:
        raise CalibrationError(
            f"The calibrator's level moved by {stability_db:.2f} dB, more than {LARGEST_SPREAD_DB:g} dB: seat the "
            f"microphone firmly, let the calibrator settle, check its battery, and record again."
        )
    if harmonic_percent > LARGEST_HARMONIC_PERCENT:
        raise CalibrationError(
            f"The calibrator's tone has {harmonic_percent:.1f} % of harmonics, more than "
            f"{LARGEST_HARMONIC_PERCENT:g} %: seat the microphone firmly, check the battery, and lower the input gain."
        )


def _warnings(full_scale_db_spl: float, *, db_spl: float, calibrator_dbfs: float) -> tuple[str, ...]:
    low, high = PLAUSIBLE_SPL_OF_FULL_SCALE
    if calibrator_dbfs <= NOTHING_DB or low <= full_scale_db_spl <= high:
        return ()
    return (
        f"Full scale would stand for {full_scale_db_spl:.1f} dB SPL, outside the usual {low:g} to {high:g} dB: "
        f"is the calibrator's level really {db_spl:g} dB, and the gain the one that you will measure with?",
    )
