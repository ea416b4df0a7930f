"""Whether a recording holds a room's noise alone, as one of silence must."""

import math

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.a_weighting import a_weighting_db
from distort.analysis.common.grid import OCTAVE_RATIO
from distort.analysis.multitone.hum_lines import hum_lines
from distort.errors import RecordingError
from distort.recording.alignment.silences import EQUAL, MUTED_SAMPLES

FloatArray = npt.NDArray[np.float64]

SHORTEST_S = 5.0
"""So that there are two parts and more to tell how restless the silence is (own choice)."""

LOOK_S = 0.125

OCTAVES = range(-2, 4)
"""250 Hz to 8 kHz: below, a lorry or a door may be heard in any room."""

STANDS_OUT_DB = 15.0
"""Over the quietest quarter of the looks. An eighth of a second of noise in the lowest octave scatters by 1.3 dB."""

SOUNDS_S = 0.5
"""What lasts as long in one octave is no click; a sweep of 10 s stays in each for a second."""

TONES_DB = 10.0
"""A-weighted, over the rest: no noise of a room holds tones so strong (own choice)."""

MAINS_DB = 25.0
"""The same for tones at multiples of 50 or 60 Hz up to 600 Hz, as an earth loop makes them."""


def require_silence(samples: FloatArray, sample_rate: int, *, what: str) -> None:
    """Raises RecordingError, naming `what`, when `samples` `(n,)`, full scale 1, are too short, hold digital zeros, or
    something that sounds for half a second: a sweep, music, a voice, or steady tones louder than the rest."""
    seconds = samples.size / sample_rate
    if seconds < SHORTEST_S:
        raise RecordingError(
            f"{what} lasts {seconds:.1f} s: record {SHORTEST_S:g} s of silence or more, 20 s tell more"
        )
    spread = scipy.ndimage.maximum_filter1d(samples, MUTED_SAMPLES) - scipy.ndimage.minimum_filter1d(
        samples, MUTED_SAMPLES
    )
    if np.any(spread <= EQUAL):
        raise RecordingError(
            f"{what} holds digital zeros, not the noise of the room: switch off what suppresses noise, and record again"
        )
    if (heard := _loudest_sound(samples, sample_rate)) is not None:
        at_s, middle_hz, over_db = heard
        raise RecordingError(
            f"{what} is no silence: {at_s:.1f} s after its beginning something sounds, {over_db:.0f} dB above the rest "
            f"about {middle_hz:.0f} Hz. Record it again with the loudspeaker off and the room quiet, or cut that away."
        )
    if (loudest_hz := _tone(samples, sample_rate)) is not None:
        raise RecordingError(
            f"{what} is no silence: steady tones are louder than all else, the loudest at {loudest_hz:.0f} Hz. Record "
            f"it again with nothing played."
        )


def _loudest_sound(samples: FloatArray, sample_rate: int) -> tuple[float, float, float] | None:
    """Where it begins in s, the octave in Hz and how far it stands out in dB; None: nothing lasts."""
    size = round(LOOK_S * sample_rate)
    found = []
    for index in OCTAVES:
        middle_hz = 1000.0 * OCTAVE_RATIO**index
        if middle_hz * math.sqrt(OCTAVE_RATIO) >= sample_rate / 2:
            continue
        edges = middle_hz / math.sqrt(OCTAVE_RATIO), middle_hz * math.sqrt(OCTAVE_RATIO)
        band = scipy.signal.sosfilt(scipy.signal.butter(4, edges, "bandpass", fs=sample_rate, output="sos"), samples)
        power = np.mean(np.square(band[size : band.size // size * size].reshape(-1, size)), axis=1)
        over_db = 10.0 * np.log10(power / np.quantile(power, 0.25))
        lasting = np.min(np.lib.stride_tricks.sliding_window_view(over_db, round(SOUNDS_S / LOOK_S)), axis=1)
        if np.max(lasting) > STANDS_OUT_DB:
            first = int(np.argmax(lasting > STANDS_OUT_DB)) + 1
            found.append((first * LOOK_S, middle_hz, float(np.max(lasting))))
    return max(found, key=lambda one: one[2], default=None)


def _tone(samples: FloatArray, sample_rate: int) -> float | None:
    """Frequency of the loudest tone, Hz, where tones are louder than a silence may hold; else None."""
    half = samples.size // 2
    tones = hum_lines([samples[:half], samples[half : 2 * half]], sample_rate=sample_rate)
    if tones.frequency_hz.size == 0:
        return None
    frequency_hz, density = scipy.signal.welch(samples, sample_rate, nperseg=sample_rate, detrend="constant")
    use = frequency_hz > 0.0
    everything = float(np.sum(density[use] * _weight(frequency_hz[use]))) * float(frequency_hz[1])
    weighted = tones.power * _weight(tones.frequency_hz)
    rest = max(everything - float(np.sum(weighted)), 1e-3 * everything)  # what windows leave beside a tone
    mains = np.array([_of_mains(hz) for hz in tones.frequency_hz])
    for group, limit_db in ((~mains, TONES_DB), (mains, MAINS_DB)):
        if 10.0 ** (limit_db / 10.0) * rest < float(np.sum(weighted[group])):
            return float(tones.frequency_hz[np.argmax(np.where(group, weighted, 0.0))])
    return None


def _weight(frequency_hz: FloatArray) -> FloatArray:
    return np.asarray(10.0 ** (a_weighting_db(frequency_hz) / 10.0))


def _of_mains(hz: float) -> bool:
    return hz < 605.0 and any(abs(hz - mains * max(round(hz / mains), 1)) < 0.004 * hz + 0.5 for mains in (50, 60))
