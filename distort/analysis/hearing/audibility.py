"""By how much distortion exceeds what the tone, or the tones, that caused it mask: an estimate, and its limits.

For every order the masker is the fundamental at its measured level; for a multitone's distortion it is the lines of all
bands together, dense as music is. What is heard must exceed three thresholds: that of hearing, the masked one, and that
in the noise of the room where it is asked for. Two published models of masking (`masking`) give two margins, which
agree at moderate levels. The auditory filters' excitation widens upwards with level, so loud tones mask more of their
high orders; Schroeder's spreading has no level in it and masks too little of them. They hold for a steady tone, an
average listener, 1 m in front of the loudspeaker, at the level that is stated: music of the same reading has some 15 dB
less in every third octave, and its parts mask one another.
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
    DENSE_OFFSET_DB,
    NOISE_MASKING_DB,
    critical_bandwidth_hz,
    excitation_db,
    excitation_of_unknown_level_db,
    masked_by_excitation_db,
    masked_by_schroeder_db,
    spread_by_schroeder_db,
    threshold_of_hearing_db_spl,
)
from distort.analysis.sweep.noise import NoiseDensity
from signals.levels import db_to_power, power_to_db

FloatArray = npt.NDArray[np.float64]
Masking = Callable[[FloatArray, FloatArray, FloatArray], FloatArray]

OF_A_TONE: tuple[Masking, Masking] = (masked_by_excitation_db, masked_by_schroeder_db)
SPREAD: tuple[Masking, Masking] = (excitation_db, spread_by_schroeder_db)
SPREAD_OF_UNKNOWN_LEVEL: tuple[Masking, Masking] = (excitation_of_unknown_level_db, spread_by_schroeder_db)
"""The two models; of what is dense, the spread of maskers and of what they may mask alike."""

CLEAR_MARGIN_DB = 3.0
"""A margin nearer to 0 than this says neither yes nor no: listeners differ by as much (common practice, no source)."""

Verdict = Literal["audible", "perhaps", "not audible", "unknown"]


@dataclass(frozen=True, kw_only=True)
class Margins:
    """One kind of distortion over its thresholds, `(rows,)` each; NaN where nothing can be said."""

    frequency_hz: FloatArray
    """Of the excitation."""
    excitation_db: FloatArray
    """By the auditory filters, which widen upwards with level."""
    schroeder_db: FloatArray
    """By the spreading function that does not."""
    doubtful: BoolArray
    """The reading may hold noise: the margin is at most this."""


@dataclass(frozen=True, kw_only=True)
class OctaveMargin:
    """The largest margin in an octave; positive: above the masked threshold."""

    midband_hz: float
    frequency_hz: float
    """Of the excitation."""
    excitation_db: float
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
    by_excitation_db, by_schroeder_db = (
        own.level_db - np.maximum(floor_db, masked(harmonics.frequency_hz, harmonics.fundamental_db, at_hz))
        for masked in OF_A_TONE
    )
    return Margins(
        frequency_hz=harmonics.frequency_hz,
        excitation_db=by_excitation_db,
        schroeder_db=by_schroeder_db,
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

    Arrays are `(bands,)`: `distortion_db` re the lines of the band, `noise_db_spl` of the room in the critical band.
    A band that holds no reading adds nothing and gets none.
    """
    by_excitation_db, by_schroeder_db = dense_margins_db(
        band_hz,
        maskers_db=lines_db_spl,
        own_db=lines_db_spl + distortion_db,
        floor_db=_floor_db(band_hz, band_hz, noise_db_spl),
    )
    return Margins(
        frequency_hz=band_hz,
        excitation_db=by_excitation_db,
        schroeder_db=by_schroeder_db,
        doubtful=doubtful,
    )


def dense_margins_db(
    band_hz: FloatArray,
    *,
    maskers_db: FloatArray,
    own_db: FloatArray,
    floor_db: FloatArray,
    spreads: tuple[Masking, Masking] = SPREAD,
) -> tuple[FloatArray, FloatArray]:
    """By how much `own_db` exceeds what `maskers_db` mask, by either model, where both fill many third octaves.

    What masks, and what may be masked, are taken in each third octave as one tone at its middle. What is spread of both
    is added in power: an ear's band holds several third octaves below 500 Hz. Masked is what lies 5.5 dB below the
    maskers, as what is added lies between them; never less than `floor_db`, `(bands,)`. Levels are `(bands,)`, or
    `(bands, moments)`; NaN where there is none: it adds nothing and gets none.
    """
    floor_db = floor_db.reshape(-1, *[1] * (own_db.ndim - 1))

    def margin_db(spread: Masking) -> FloatArray:
        masked_db = np.maximum(floor_db, _together_db(spread, band_hz, maskers_db) - DENSE_OFFSET_DB)
        return np.where(np.isfinite(own_db), _together_db(spread, band_hz, own_db) - masked_db, np.nan)

    by_excitation, by_schroeder = spreads
    return margin_db(by_excitation), margin_db(by_schroeder)


def _together_db(spread: Masking, band_hz: FloatArray, level_db: FloatArray) -> FloatArray:
    """What is spread from all bands to each, added in power, `(bands, ...)` as `level_db`; of those that hold a
    level."""
    power = np.zeros(level_db.shape)
    at_hz = band_hz.reshape(-1, *[1] * (level_db.ndim - 1))
    for masker_hz, masker_db in zip(band_hz, level_db, strict=True):
        power += np.nan_to_num(db_to_power(spread(np.asarray(masker_hz), masker_db[None], at_hz)))
    return power_to_db(power)


def verdict(by_excitation_db: float, by_schroeder_db: float) -> Verdict:
    """What both models say together: clear only where they agree by more than 3 dB."""
    if np.isnan(by_excitation_db) or np.isnan(by_schroeder_db):
        return "unknown"
    if min(by_excitation_db, by_schroeder_db) > CLEAR_MARGIN_DB:
        return "audible"
    return "not audible" if max(by_excitation_db, by_schroeder_db) < -CLEAR_MARGIN_DB else "perhaps"


def octave_margins(margins: Margins, *, lowest_valid_hz: float) -> tuple[OctaveMargin, ...]:
    """The worst of each octave (IEC 61260-1) from `lowest_valid_hz` up; one without a clean reading is left out."""
    found = []
    for midband_hz in midbands_hz(bands_per_octave=1):
        row = worst_of_octave(margins, float(midband_hz), lowest_hz=lowest_valid_hz)
        if row is not None:
            both = float(margins.excitation_db[row]), float(margins.schroeder_db[row])
            found.append(
                OctaveMargin(
                    midband_hz=float(midband_hz),
                    frequency_hz=float(margins.frequency_hz[row]),
                    excitation_db=both[0],
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
    together_db = margins.excitation_db + margins.schroeder_db
    usable = inside & np.isfinite(together_db) & ~margins.doubtful
    return int(np.argmax(np.where(usable, together_db, -np.inf))) if usable.any() else None


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
