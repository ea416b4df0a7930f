"""What a loudspeaker does to a piece of music at a level, as sounds to be heard: what was meant, and what came out.

With Q and L the recordings of the piece played quietly and loudly, Q raised by the change of drive, and H and c as in
`programme`:

    intended     = the piece through the path that is fitted to Q, so without its noise
    linear       = (H - 1) intended                  change for good
    compression  = (c - 1) H intended                change from moment to moment
    distortion   = L - c H Q                         what was added, less what of it noise explains
    delivered    = intended + linear + compression + distortion

The path is an impulse response of half a second: of P the spectrum of the piece, R <- window(R + conj(P) (Q - P R) /
(|P|^2 + e)), some steps of it from R = 0. Each part is silent in each third octave where it lies below what noise and
distortion put into it by chance; distortion also while it lies below the noise. Distortion that Q has already is in
`intended` as far as the path can hold it, and nowhere else. The noise of the recordings is in none of them.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.convolution import convolved
from distort.analysis.programme import (
    FADE_S,
    FIT_OCTAVES,
    GAIN_S,
    ComplexArray,
    CutRecording,
    ProgrammeTake,
    cut_samples,
    cut_to_piece,
    envelope,
    gain_for_good,
    less,
    mean_square,
    moving_gain,
)
from signals.levels import db_to_amplitude, power_to_db
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]

PATH_BEFORE_S, PATH_S, PATH_FADE_S = 0.005, 0.5, 0.1
"""The path's impulse response begins so long before the direct sound, lasts so long, and fades out at its end."""

PATH_STEPS = 4
"""Of the fit: more change what is intended by under 0.05 dB in the third octaves of the piece (own choice)."""

LEAST_PART = 1e-3
"""e re the mean of |P|^2 over a twelfth of an octave: between the tones of music the path is the neighbours'."""

LEAST_OVER_NOISE = 4.0
"""Power of music and noise over that of the noise, over a twelfth of an octave: the music alone is 5 dB above it."""

ABOVE_FLOOR = 2.0
"""Power that a part must have over its floor, or it is silent: 3 dB, so that noise alone stays below."""

GATE_VALUES = 24.0
"""Independent values over which the distortion of a band is held against the noise at a moment: noise alone reaches
twice its mean by chance in 1 of 10,000 such (chi-square of 48 degrees of freedom)."""

PARTS = ("linear change", "compression", "distortion")


@dataclass(frozen=True, kw_only=True, eq=False)
class HeardParts:
    """Sounds of `(n,)` each, all from the same moment on, and their levels, `(bands,)` each."""

    sample_rate: int
    intended: FloatArray
    linear: FloatArray
    compression: FloatArray
    distortion: FloatArray
    frequency_hz: FloatArray
    """Middles of third octaves."""
    intended_power: FloatArray
    """Mean square, full scale squared."""
    noise_power: FloatArray
    """Of both recordings: the floor of the remainder; NaN where it is not known."""

    @property
    def remainder(self) -> FloatArray:
        """All that came out and was not meant."""
        return self.linear + self.compression + self.distortion

    @property
    def delivered(self) -> FloatArray:
        """What came out."""
        return self.intended + self.remainder

    @property
    def silent(self) -> tuple[str, ...]:
        """Names of the parts that lie below their floor everywhere."""
        each = zip(PARTS, (self.linear, self.compression, self.distortion), strict=True)
        return tuple(name for name, sound in each if not np.any(sound))


def heard_parts(
    quiet: ProgrammeTake,
    loud: ProgrammeTake,
    *,
    piece: FloatArray,
    sample_rate: int,
    bands_hz: FloatArray,
    louder_db: float,
) -> HeardParts:
    """What `loud` holds against `quiet`.

    piece       `(n,)`, as it was played
    bands_hz    middles of third octaves that it fills, side by side
    louder_db   drive of `loud` over that of `quiet`
    """
    size = cut_samples(piece.size, sample_rate)
    raised = float(db_to_amplitude(louder_db))
    before, after = cut_to_piece(quiet, size, sample_rate), cut_to_piece(loud, size, sample_rate)
    before = CutRecording(
        frequency_hz=before.frequency_hz,
        spectrum=before.spectrum * raised,
        noise=before.noise * raised**2,
        seconds=before.seconds,
    )
    told = _above_noise(before)
    intended = told * _through_path(piece, before.spectrum, size=size, sample_rate=sample_rate)
    gain = told * gain_for_good(before, after, bands_hz)
    each = [_band(before, after, intended, (gain, float(middle_hz))) for middle_hz in bands_hz]
    spectra = {name: np.zeros(intended.size, dtype=np.complex128) for name in PARTS}
    for band in each:
        for name, part in band.parts.items():
            _put(spectra[name], band.first, part)
    sounds = {name: np.asarray(scipy.fft.irfft(spectrum, size)) for name, spectrum in spectra.items()}
    return HeardParts(
        sample_rate=sample_rate,
        intended=np.asarray(scipy.fft.irfft(intended, size)),
        linear=sounds[PARTS[0]],
        compression=sounds[PARTS[1]],
        distortion=sounds[PARTS[2]],
        frequency_hz=bands_hz,
        intended_power=np.array([band.intended for band in each]),
        noise_power=np.array([band.noise for band in each]),
    )


def _through_path(piece: FloatArray, heard: ComplexArray, *, size: int, sample_rate: int) -> ComplexArray:
    """Spectrum `(size // 2 + 1,)` of the piece through the path to `heard`."""
    placed = np.zeros(size)
    first = round(FADE_S * sample_rate)
    placed[first : first + piece.size] = piece
    played = np.asarray(scipy.fft.rfft(placed))
    power = np.square(np.abs(played))
    inverse = np.conj(played) / (power + LEAST_PART * _smoothed(power))
    window = _path_window(size, sample_rate)
    path = np.zeros(played.size, dtype=np.complex128)
    for _ in range(PATH_STEPS):
        found = scipy.fft.irfft(path + inverse * (heard - played * path), size)
        path = np.asarray(scipy.fft.rfft(found * window))
    return np.asarray(played * path)


def _above_noise(quiet: CutRecording) -> FloatArray:
    """1 at bins about which the music stands out of the noise, 0 elsewhere: there no path and no gain can be told."""
    noise = np.nan_to_num(quiet.noise) / quiet.seconds / quiet.scale
    return np.where(_smoothed(np.square(np.abs(quiet.spectrum))) > LEAST_OVER_NOISE * _smoothed(noise), 1.0, 0.0)


def _path_window(size: int, sample_rate: int) -> FloatArray:
    """1 from shortly before the direct sound on, fading to 0 at the end of the path; circular."""
    since_s = np.arange(size) / sample_rate
    since_s = np.where(since_s > since_s[-1] / 2.0, since_s - size / sample_rate, since_s)
    return rise((since_s + PATH_BEFORE_S) / PATH_BEFORE_S) * rise((PATH_S - since_s) / PATH_FADE_S)


def _smoothed(power: FloatArray) -> FloatArray:
    """Mean over a twelfth of an octave about each bin."""
    half = 2.0 ** (0.5 * FIT_OCTAVES)
    bins = np.arange(power.size)
    low = np.floor(bins / half).astype(np.int64)
    high = np.minimum(np.ceil(bins * half).astype(np.int64), power.size - 1)
    running = np.concatenate([[0.0], np.cumsum(power)])
    return np.asarray((running[high + 1] - running[low]) / (high + 1 - low))


@dataclass(frozen=True, kw_only=True)
class _Band:
    """A third octave: its parts as envelopes, which begin at bin `first`."""

    first: int
    parts: dict[str, ComplexArray]
    intended: float
    noise: float


def _band(quiet: CutRecording, loud: CutRecording, intended: ComplexArray, at: tuple[ComplexArray, float]) -> _Band:
    gain, middle_hz = at
    low_hz, high_hz = middle_hz / 10.0**0.05, middle_hz * 10.0**0.05
    inside = slice(*np.searchsorted(quiet.frequency_hz, [low_hz, high_hz]))
    width_hz, seconds = high_hz - low_hz, quiet.seconds
    played, heard = envelope((gain * quiet.spectrum)[inside]), envelope(loud.spectrum[inside])
    moving, followed = moving_gain(played, heard, seconds=seconds, width_hz=width_hz)
    for_good = (high_hz / low_hz - 1.0) / FIT_OCTAVES / (width_hz * seconds)
    through = np.square(np.abs(gain[inside])) * float(np.mean(np.square(np.abs(moving))))
    noise = (float(np.mean(through * quiet.noise[inside])) + float(np.mean(loud.noise[inside]))) * width_hz
    chance = quiet.scale * mean_square(heard - moving * played) / (1.0 - followed - for_good)
    meant, changed = envelope(intended[inside]), envelope((gain * intended)[inside])
    linear = _above(changed - meant, quiet.scale, for_good * chance)
    compression = _above((moving - 1.0) * changed, quiet.scale, followed * chance)
    # what is silent because chance explains it is no change: it stays with what was added
    constant = played if np.any(linear) else envelope(quiet.spectrum[inside])
    left = heard - (moving if np.any(compression) else 1.0) * constant
    own = float(np.nan_to_num(np.mean(quiet.noise[inside]))) * width_hz
    parts = {
        PARTS[0]: linear,
        PARTS[1]: compression,
        PARTS[2]: _without_noise(left, noise / quiet.scale, seconds=seconds, width_hz=width_hz),
    }
    return _Band(
        first=inside.start,
        parts=parts,
        intended=less(quiet.scale * float(np.sum(np.square(np.abs(quiet.spectrum[inside])))), own),
        noise=noise,
    )


def _above(part: ComplexArray, scale: float, floor: float) -> ComplexArray:
    """`part`, or silence where it lies below its floor."""
    return part if scale * mean_square(part) > ABOVE_FLOOR * floor else np.zeros_like(part)


def _without_noise(left: ComplexArray, noise: float, *, seconds: float, width_hz: float) -> ComplexArray:
    """What was added, with the power that the noise leaves of it at each moment; nothing where that is not known."""
    if not noise >= 0.0:
        return np.zeros_like(left)
    window_s = max(GAIN_S, GATE_VALUES / width_hz)
    points = max(round(window_s * left.size / seconds), 3) | 1
    window = np.hanning(points + 2)[1:-1]
    weight = convolved(np.ones(left.size), window)
    power = convolved(np.square(np.abs(left)), window) / weight
    above = power > ABOVE_FLOOR * noise
    share = np.where(above, 1.0 - noise / np.where(above, power, 1.0), 0.0)
    return np.asarray(np.sqrt(share) * left)


def _put(spectrum: ComplexArray, first: int, part: ComplexArray) -> None:
    """Add an envelope whose band begins at bin `first` to `spectrum`; what a gain that moves spreads goes beside it."""
    bins = scipy.fft.fft(part) / part.size
    offset = np.arange(part.size)
    offset[offset >= 3 * part.size // 4] -= part.size
    place = first + offset
    there = (place >= 0) & (place < spectrum.size)
    spectrum[place[there]] += bins[there]


def third_octave_powers(sound: FloatArray, sample_rate: int, bands_hz: FloatArray) -> FloatArray:
    """Mean square of `sound` `(n,)` in third octaves, `(bands,)`."""
    power = np.square(np.abs(scipy.fft.rfft(sound)))
    frequency_hz = scipy.fft.rfftfreq(sound.size, 1.0 / sample_rate)
    running = np.concatenate([[0.0], np.cumsum(power)])
    low = np.searchsorted(frequency_hz, bands_hz / 10.0**0.05)
    high = np.searchsorted(frequency_hz, bands_hz * 10.0**0.05)
    return np.asarray((running[high] - running[low]) * 2.0 / sound.size**2)


def remainder_db(heard: HeardParts) -> tuple[FloatArray, FloatArray]:
    """Level of the remainder and of its floor re what is intended, dB, `(bands,)` each."""
    power = third_octave_powers(heard.remainder, heard.sample_rate, heard.frequency_hz)
    return power_to_db(power / heard.intended_power), power_to_db(heard.noise_power / heard.intended_power)
