"""By how much distortion exceeds what the tone, or the tones, that caused it mask: an estimate, and its limits.

For every order the masker is the fundamental at its measured level. What is heard must exceed three thresholds: that of
hearing, the masked one, and that in the noise of the room where it is known. Two published models of masking
(`hearing`) give two margins. Terhardt's knows that a loud tone masks far upwards, and says nothing of what is needed
close to the masker; Schroeder's has no level in it, and masks too little upwards when it is loud. So they bracket
rather than agree, and the truth of one listener may lie outside both. Of a tone of 100 dB SPL at 1.5 kHz the masked
level at 4.5 kHz differs by 65 dB: 34 dB are Schroeder's 15.5 + z, which Terhardt's pattern has no counterpart of, and
31 dB the slope, 4 dB a Bark by Terhardt and on average 9 by Schroeder over those 7 Bark. At 80 dB SPL the slopes agree
within 3 dB there, and the 15.5 + z stay. They hold for a
steady tone, an average listener, 1 m in front of the loudspeaker; music masks more.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.curves import BoolArray, Harmonics
from distort.analysis.common.grid import OCTAVE_RATIO, midbands_hz
from distort.analysis.common.log_frequency import over_log_frequency
from distort.analysis.hearing.masking import (
    NOISE_MASKING_DB,
    critical_bandwidth_hz,
    masked_by_schroeder_db,
    masked_by_terhardt_db,
    threshold_of_hearing_db_spl,
)
from distort.analysis.sweep.noise import NoiseDensity
from signals.levels import db_to_power, power_to_db

FloatArray = npt.NDArray[np.float64]
Masking = Callable[[FloatArray, FloatArray, FloatArray], FloatArray]

MODELS: tuple[Masking, Masking] = (masked_by_terhardt_db, masked_by_schroeder_db)

CLEAR_MARGIN_DB = 3.0
"""A margin nearer to 0 than this says neither yes nor no: listeners differ by as much (common practice, no source)."""

Verdict = Literal["audible", "perhaps", "not audible", "unknown"]


@dataclass(frozen=True, kw_only=True)
class Margins:
    """One kind of distortion over its thresholds, `(rows,)` each; NaN where nothing can be said."""

    frequency_hz: FloatArray
    """Of the excitation."""
    terhardt_db: FloatArray
    """By the masking pattern that widens upwards with level."""
    schroeder_db: FloatArray
    """By the one that does not."""
    doubtful: BoolArray
    """The reading may hold noise: the margin is at most this."""


@dataclass(frozen=True, kw_only=True)
class OctaveMargin:
    """The largest margin in an octave; positive: above the masked threshold."""

    midband_hz: float
    frequency_hz: float
    """Of the excitation."""
    terhardt_db: float
    schroeder_db: float
    verdict: Verdict


def room_noise_db_spl(noise: NoiseDensity, *, full_scale_db_spl: float, at_hz: FloatArray) -> FloatArray:
    """Noise of the room and the chain in the critical band about each frequency, dB SPL at the microphone.

    full_scale_db_spl   SPL that full scale (AES17) stands for; a full-scale sine has the power 1/2
    """
    width = critical_bandwidth_hz(at_hz)
    bin_hz = noise.frequency_hz[1] - noise.frequency_hz[0]
    running = scipy.integrate.cumulative_trapezoid(noise.density, initial=0) * bin_hz
    low, high = (np.interp(at_hz + sign * 0.5 * width, noise.frequency_hz, running) for sign in (-1.0, 1.0))
    return np.asarray(power_to_db(2.0 * (high - low)) + full_scale_db_spl)


def order_margins(harmonics: Harmonics, order: int, *, noise_db_spl: FloatArray | None = None) -> Margins:
    """Margins of order n, which sounds at n f, over what the fundamental at f masks.

    noise_db_spl   of the room, on the rows of `harmonics` (at the frequency of the row); None: as if it were silent

    Raises ValueError when the levels are not in dB SPL, KeyError when the order was not separated.
    """
    if harmonics.unit != "db_spl":
        raise ValueError("audibility needs sound pressure levels: calibrate")
    own = {one.order: one for one in harmonics.orders}[order]
    at_hz = order * harmonics.frequency_hz
    floor_db = _floor_db(at_hz, harmonics.frequency_hz, noise_db_spl)
    terhardt_db, schroeder_db = (
        own.level_db - np.maximum(floor_db, masked(harmonics.frequency_hz, harmonics.fundamental_db, at_hz))
        for masked in MODELS
    )
    return Margins(
        frequency_hz=harmonics.frequency_hz,
        terhardt_db=terhardt_db,
        schroeder_db=schroeder_db,
        doubtful=own.doubtful,
    )


def multitone_margins(
    band_hz: FloatArray,
    *,
    lines_db_spl: FloatArray,
    distortion_db: FloatArray,
    doubtful: BoolArray,
    noise_db_spl: FloatArray | None = None,
) -> Margins:
    """Margins of a multitone's distortion per third octave over what the lines of all bands together mask.

    Harder than that of one tone: the lines of a band are taken as one tone at its middle, the maskings are added in
    power, and distortion lies between the lines that mask it. Arrays are `(bands,)`: `distortion_db` re the lines of
    the band, `noise_db_spl` of the room in the critical band.
    """
    floor_db = _floor_db(band_hz, band_hz, noise_db_spl)
    known = np.isfinite(lines_db_spl)
    maskers_hz, maskers_db = band_hz[known], lines_db_spl[known]
    margins = []
    for masked in MODELS:
        each_db = masked(maskers_hz[None, :], maskers_db[None, :], band_hz[:, None])
        together_db = power_to_db(np.sum(db_to_power(each_db), axis=1))
        margins.append(lines_db_spl + distortion_db - np.maximum(floor_db, together_db))
    return Margins(
        frequency_hz=band_hz,
        terhardt_db=margins[0],
        schroeder_db=margins[1],
        doubtful=doubtful,
    )


def verdict(terhardt_db: float, schroeder_db: float) -> Verdict:
    """What both models say together: clear only where they agree by more than 3 dB."""
    if np.isnan(terhardt_db) or np.isnan(schroeder_db):
        return "unknown"
    if min(terhardt_db, schroeder_db) > CLEAR_MARGIN_DB:
        return "audible"
    return "not audible" if max(terhardt_db, schroeder_db) < -CLEAR_MARGIN_DB else "perhaps"


def octave_margins(margins: Margins, *, lowest_valid_hz: float) -> tuple[OctaveMargin, ...]:
    """The worst of each octave (IEC 61260-1) from `lowest_valid_hz` up; one without a clean reading is left out."""
    found = []
    for midband_hz in midbands_hz(bands_per_octave=1):
        row = worst_of_octave(margins, float(midband_hz), lowest_hz=lowest_valid_hz)
        if row is not None:
            both = float(margins.terhardt_db[row]), float(margins.schroeder_db[row])
            found.append(
                OctaveMargin(
                    midband_hz=float(midband_hz),
                    frequency_hz=float(margins.frequency_hz[row]),
                    terhardt_db=both[0],
                    schroeder_db=both[1],
                    verdict=verdict(*both),
                )
            )
    return tuple(found)


def worst_of_octave(margins: Margins, midband_hz: float, *, lowest_hz: float) -> int | None:
    """Row of the largest margin in an octave among clean readings from `lowest_hz` up, by the mean of both models.

    None where there is none.
    """
    half = OCTAVE_RATIO**0.5
    inside = (margins.frequency_hz >= max(midband_hz / half, lowest_hz)) & (margins.frequency_hz < midband_hz * half)
    mean_db = 0.5 * (margins.terhardt_db + margins.schroeder_db)
    usable = inside & np.isfinite(mean_db) & ~margins.doubtful
    return int(np.argmax(np.where(usable, mean_db, -np.inf))) if usable.any() else None


def _floor_db(at_hz: FloatArray, noise_hz: FloatArray, noise_db_spl: FloatArray | None) -> FloatArray:
    """Threshold of hearing, or in the room's noise, whichever is higher."""
    quiet_db = threshold_of_hearing_db_spl(at_hz)
    if noise_db_spl is None:
        return quiet_db
    there = np.isfinite(noise_db_spl)
    if not there.any():
        return quiet_db
    in_noise_db = over_log_frequency(at_hz, noise_hz[there], noise_db_spl[there]) - NOISE_MASKING_DB
    return np.asarray(np.maximum(quiet_db, in_noise_db))
