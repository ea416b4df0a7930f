"""What of an added sound stands above what the music masks, third octave by third octave, moment by moment.

In frames of 0.1 s, half of each within the next, or side by side. What masks and what is masked, by two models, stands
in `audibility.dense_margins_db`: both sounds fill many third octaves. What lies below the noise of the recordings
cannot be told, and adds nothing. Masking from before and after is left out, as is the threshold of hearing where the
sound pressure is not known; the ear's filters are then those of 51 dB SPL, narrower than loud sound makes them.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.hearing.audibility import SPREAD, SPREAD_OF_UNKNOWN_LEVEL, dense_margins_db
from distort.analysis.hearing.masking import threshold_of_hearing_db_spl
from signals.levels import power_to_db
from signals.windows import hann

FloatArray = npt.NDArray[np.float64]

FRAME_S = 0.1


@dataclass(frozen=True, kw_only=True, eq=False)
class OverMasked:
    """Levels in third octaves and frames, `(bands, frames)` each."""

    frequency_hz: FloatArray
    """`(bands,)`"""
    time_s: FloatArray
    """Middles of the frames, `(frames,)`."""
    music_db: FloatArray
    """dB SPL, or re full scale where no sound pressure is known."""
    remainder_db: FloatArray
    over_db: FloatArray
    """Over the masked threshold, by the model that masks more; NaN where the noise hides what there is."""

    @property
    def share_above(self) -> float:
        """Share of the frames in which some third octave stands above."""
        return float(np.mean(np.any(np.nan_to_num(self.over_db, nan=-np.inf) > 0.0, axis=0)))

    @property
    def highest(self) -> tuple[float, float, float]:
        """By how many dB it stands above at most, at what frequency in Hz, and when, s; -inf where all is noise."""
        over_db = np.nan_to_num(self.over_db, nan=-np.inf)
        band, frame = np.unravel_index(int(np.argmax(over_db)), over_db.shape)
        return float(over_db[band, frame]), float(self.frequency_hz[band]), float(self.time_s[frame])


def over_masked(
    music: FloatArray,
    remainder: FloatArray,
    *,
    sample_rate: int,
    bands_hz: FloatArray,
    noise_power: FloatArray,
    full_scale_db_spl: float | None,
) -> OverMasked:
    """Of `remainder` `(n,)` beside `music` `(n,)`.

    bands_hz            middles of third octaves, rising
    noise_power         mean square of the recordings' noise in them; NaN where it is not known
    full_scale_db_spl   what a sine at full scale stands for; None: not known
    """
    frame = round(FRAME_S * sample_rate)
    music_power, remainder_power = (_powers(one, frame, sample_rate, bands_hz) for one in (music, remainder))
    offset_db = 0.0 if full_scale_db_spl is None else full_scale_db_spl
    music_db, remainder_db = (power_to_db(2.0 * one) + offset_db for one in (music_power, remainder_power))
    both_db = margins_of_moments_db(
        music_power,
        remainder_power,
        bands_hz=bands_hz,
        noise_power=noise_power,
        full_scale_db_spl=full_scale_db_spl,
    )
    return OverMasked(
        frequency_hz=bands_hz,
        time_s=(np.arange(music_power.shape[1]) + 1.0) * (frame // 2) / sample_rate,
        music_db=music_db,
        remainder_db=remainder_db,
        over_db=np.minimum(*both_db),
    )


def margins_of_moments_db(
    music_power: FloatArray,
    added_power: FloatArray,
    *,
    bands_hz: FloatArray,
    noise_power: FloatArray,
    full_scale_db_spl: float | None,
) -> tuple[FloatArray, FloatArray]:
    """By how much what was added stands above what the music masks, by either model, `(bands, moments)` each as the
    powers; NaN where it does not stand above the noise. The rest as in `over_masked`."""
    offset_db = 0.0 if full_scale_db_spl is None else full_scale_db_spl
    # of nothing there is no level: an infinite one would have an infinitely narrow filter
    music_db, added_db = (
        np.where(one > 0.0, power_to_db(2.0 * one) + offset_db, np.nan) for one in (music_power, added_power)
    )
    noise = np.nan_to_num(noise_power)[:, None]
    if full_scale_db_spl is None:
        floor_db, spreads = np.full(bands_hz.size, -np.inf), SPREAD_OF_UNKNOWN_LEVEL
    else:
        floor_db, spreads = np.nan_to_num(threshold_of_hearing_db_spl(bands_hz), nan=-np.inf), SPREAD
    return dense_margins_db(
        bands_hz,
        maskers_db=music_db,
        own_db=np.where(added_power > noise, added_db, np.nan),
        floor_db=floor_db,
        spreads=spreads,
    )


def _powers(sound: FloatArray, frame: int, sample_rate: int, bands_hz: FloatArray) -> FloatArray:
    """Mean square in third octaves, `(bands, frames)`, under Hann windows; each bin is of the bands that it reaches
    into as far as it does so, as low bands are hardly wider than one."""
    window = hann(frame)
    frames = np.lib.stride_tricks.sliding_window_view(sound, frame)[:: frame // 2]
    power = np.square(np.abs(scipy.fft.rfft(frames * window, axis=1)))
    power *= 2.0 / (frame * np.sum(np.square(window)))
    edges_hz = (np.arange(power.shape[1] + 1) - 0.5) * sample_rate / frame
    edges_hz[0] = 0.0
    running = np.concatenate([np.zeros((power.shape[0], 1)), np.cumsum(power, axis=1)], axis=1)
    low, high = (
        np.stack([np.interp(bands_hz * factor, edges_hz, row) for row in running]) for factor in (10**-0.05, 10**0.05)
    )
    return np.asarray((high - low).T)
