"""What of a remainder stands above what the music masks, third octave by third octave, moment by moment.

In frames of 0.1 s, half of each within the next: M_b = power of the music in third octave b, and

    threshold_a = max(10 lg sum_b 10^((M_b + spread(z_a - z_b) - 15.5 - z_a) / 10), threshold of hearing at a, N_a)

by the masking that reaches least far (`masked_by_schroeder_db`: a tone as masker, at any level), since music mixes
tones and noise: what lies below it is not heard; what lies above may be. N is the noise of the recordings: what lies
below it cannot be told. Masking from before and after is left out, as
is the threshold of hearing where the sound pressure is not known. A third octave below 500 Hz is narrower than a
critical band, so there the ear adds up more of both.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.hearing.masking import masked_by_schroeder_db, threshold_of_hearing_db_spl
from signals.levels import db_to_power, power_to_db

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
    """The remainder over the masked threshold, or over the noise where that is higher."""

    @property
    def share_above(self) -> float:
        """Share of the frames in which some third octave stands above."""
        return float(np.mean(np.any(self.over_db > 0.0, axis=0)))

    @property
    def highest(self) -> tuple[float, float, float]:
        """By how many dB it stands above at most, at what frequency in Hz, and when, s."""
        band, frame = np.unravel_index(int(np.argmax(self.over_db)), self.over_db.shape)
        return float(self.over_db[band, frame]), float(self.frequency_hz[band]), float(self.time_s[frame])


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
    # the masking falls with distance alone, whatever the level, so the levels can be added afterwards
    each_db = masked_by_schroeder_db(bands_hz[None, :], np.zeros((1, bands_hz.size)), bands_hz[:, None])
    masked_db = power_to_db(db_to_power(each_db) @ (2.0 * music_power)) + offset_db
    masked_db = np.fmax(masked_db, power_to_db(2.0 * noise_power)[:, None] + offset_db)
    if full_scale_db_spl is not None:
        masked_db = np.fmax(masked_db, threshold_of_hearing_db_spl(bands_hz)[:, None])
    return OverMasked(
        frequency_hz=bands_hz,
        time_s=(np.arange(music_power.shape[1]) + 1.0) * (frame // 2) / sample_rate,
        music_db=music_db,
        remainder_db=remainder_db,
        over_db=remainder_db - masked_db,
    )


def _powers(sound: FloatArray, frame: int, sample_rate: int, bands_hz: FloatArray) -> FloatArray:
    """Mean square in third octaves, `(bands, frames)`, under Hann windows; each bin is of the bands that it reaches
    into as far as it does so, as low bands are hardly wider than one."""
    window = scipy.signal.windows.hann(frame, sym=False)
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
