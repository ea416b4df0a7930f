"""What a loudspeaker does to a piece of music as it gets louder: change of level, coherence, and what was added.

With Q and L the spectra of a quiet and a loud recording of the same piece, and b a third octave,

    H    = sum conj(Q) L / sum |Q|^2 over 1/12 octave          what changed for good
    a, l = H Q and L in b, as complex envelopes
    c    = smooth(conj(a) l) / smooth(|a|^2)                   what changes from moment to moment: compression
    S    = mean |c a|^2,   D + N = mean |l - c a|^2 / (1 - p)  what is left, and what was added
    gamma^2 = S / (S + D + N)

p is the share of what was added that c follows by chance. N is the noise of both recordings as their silences hold it,
taken off S and D. The gain c has the bandwidth of a Hann window of 0.15 s, 10 Hz; less where a third octave is so
narrow that it would follow its very envelope. What the quiet recording has of distortion is not in D.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.caution import near_noise
from distort.analysis.common.convolution import convolved
from distort.analysis.level_limits import MOST_NOISE_DB, LevelBands
from distort.analysis.sweep.noise import noise_density
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
BoolArray = npt.NDArray[np.bool_]

FIT_OCTAVES = 1.0 / 12.0

GAIN_S = 0.15
"""Length of the Hann window over which the gain is fitted: its bandwidth, 1.5 / 0.15 s, is 10 Hz."""

LEAST_VALUES = 8.0
"""Independent values under that window at least: of fewer the gain follows whatever is there."""

FADE_S, TAIL_S = 0.01, 0.15
"""The cut begins so long before the piece and ends so long after it, when what sounds is room."""

MOMENT_S = 0.1
"""For which what was added is held against what the music masks at that moment."""

LOUDEST_SHARE = 0.05
"""Of all moments: what is heard now and then counts, a single one of some hundred does not (own choice)."""

TINY = 1e-300

LEAST_SHARE = 1e-3
"""Of the noise: a power that is less cannot be told from nothing."""


@dataclass(frozen=True, kw_only=True)
class ProgrammeTake:
    """One recording of the piece, ready to be analysed."""

    samples: FloatArray
    """`(samples,)` at the piece's sample rate, full scale 1."""
    start: float
    """Where the piece arrives, samples."""
    silences: tuple[FloatArray, ...]


@dataclass(frozen=True, kw_only=True)
class ProgrammeLevel:
    """A level against the lowest, `(bands,)` each."""

    level_db_spl: float
    """Nominal."""
    change_db: FloatArray
    """Level less that of the quiet recording and the change of drive; NaN where nobody knows how far it was turned."""
    coherence: FloatArray
    """gamma^2, 0 to 1."""
    remainder_db: FloatArray
    """What was added, dB re what is left of the piece in that band."""
    floor_db: FloatArray
    """The noise of both recordings, likewise; NaN where no silence was recorded."""
    excitation_db: FloatArray
    """By how much what was added stands above what the music masks there in the twentieth of all moments in which it
    does so most, by the auditory filters; NaN where noise hides it, or nobody knows the sound pressure."""
    schroeder_db: FloatArray
    """Likewise by Schroeder's spreading."""

    @property
    def doubtful(self) -> BoolArray:
        """Remainders less than 10 dB above their floor, or whose floor is not known."""
        return near_noise(self.remainder_db, self.floor_db)

    def judgeable(self, frequency_hz: FloatArray) -> LevelBands:
        """What the limits of operation are held against; bands count that noise leaves a coherence of 0.95.

        frequency_hz   of the bands
        """
        return LevelBands(
            level_db_spl=self.level_db_spl,
            frequency_hz=frequency_hz,
            change_db=self.change_db,
            coherence=self.coherence,
            counts=np.nan_to_num(self.floor_db, nan=np.inf) <= MOST_NOISE_DB,
        )


@dataclass(frozen=True, kw_only=True)
class ProgrammeResult:
    """All levels above the lowest, from the lower up; a row a third octave."""

    frequency_hz: FloatArray
    levels: tuple[ProgrammeLevel, ...]


def against_quiet(
    quiet: ProgrammeTake, loud: Sequence[ProgrammeTake], *, n_samples: int, sample_rate: int, bands_hz: FloatArray
) -> dict[str, FloatArray]:
    """Powers of each third octave, the mean over the takes of `loud`, `(bands,)` each: what the `quiet` recording has
    (`quiet`), what is left of it (`left`), what was added (`added`), noise (`noise`, NaN where it is not known). And of
    moments of 0.1 s what is left and what was added with its noise (`left_then`, `added_then`), `(bands, moments)`.

    n_samples   of the piece
    """
    size = cut_samples(n_samples, sample_rate)
    before = cut_to_piece(quiet, size, sample_rate)
    each = [_compared(before, cut_to_piece(one, size, sample_rate), bands_hz) for one in loud]
    return {name: np.mean([one[name] for one in each], axis=0) for name in each[0]}


def cut_samples(n_samples: int, sample_rate: int) -> int:
    """Length of what is cut out of a recording of a piece of `n_samples`."""
    return scipy.fft.next_fast_len(n_samples + round((FADE_S + TAIL_S) * sample_rate), real=True)


@dataclass(frozen=True, kw_only=True)
class CutRecording:
    """A recording cut to the piece: its spectrum and its noise, a value a bin."""

    frequency_hz: FloatArray
    spectrum: ComplexArray
    noise: FloatArray
    """Density, full scale squared per hertz; NaN where it is not known."""
    seconds: float

    @property
    def scale(self) -> float:
        """From a sum of |X|^2 over bins to a mean square."""
        return 0.5 / float(self.frequency_hz[-1] * self.seconds) ** 2


def cut_to_piece(take: ProgrammeTake, size: int, sample_rate: int) -> CutRecording:
    """`take` cut to `size` samples, always from the same fraction of a sample after the piece's first on."""
    first = int(np.floor(take.start)) - round(FADE_S * sample_rate)
    piece = take.samples[max(first, 0) : max(first + size, 0)]
    missing = min(max(-first, 0), size)
    piece = np.pad(piece, (missing, size - missing - piece.size))
    since_s = np.arange(size) / sample_rate
    piece = piece * rise(since_s / FADE_S) * rise((since_s[-1] - since_s) / FADE_S)
    frequency_hz = scipy.fft.rfftfreq(size, 1.0 / sample_rate)
    later = 2j * np.pi * frequency_hz * (take.start % 1.0) / sample_rate
    noise = np.full(frequency_hz.size, np.nan)
    if take.silences:
        density = noise_density(take.silences, sample_rate=sample_rate)
        noise = np.interp(frequency_hz, density.frequency_hz, density.density)
    return CutRecording(
        frequency_hz=np.asarray(frequency_hz),
        spectrum=np.asarray(scipy.fft.rfft(piece) * np.exp(later)),
        noise=np.asarray(noise),
        seconds=size / sample_rate,
    )


def most_of_moments_db(margin_db: FloatArray) -> FloatArray:
    """What a margin passes in the twentieth of all moments in which it is largest, `(bands,)` of `(bands, moments)`,
    NaN being less than any; NaN where that itself is not known."""
    sorted_db = np.sort(np.where(np.isfinite(margin_db), margin_db, -np.inf), axis=1)
    most_db = sorted_db[:, int((1.0 - LOUDEST_SHARE) * (margin_db.shape[1] - 1))]
    return np.asarray(np.where(np.isfinite(most_db), most_db, np.nan))


def _compared(quiet: CutRecording, loud: CutRecording, bands_hz: FloatArray) -> dict[str, FloatArray]:
    """What `against_quiet` says, of one loud recording."""
    gain = gain_for_good(quiet, loud, bands_hz)
    found = [_band(quiet, loud, gain, float(middle_hz)) for middle_hz in bands_hz]
    return {name: np.array([one[name] for one in found]) for name in found[0]}


def gain_for_good(quiet: CutRecording, loud: CutRecording, bands_hz: FloatArray) -> ComplexArray:
    """H at every bin: fitted in twelfths of an octave, interpolated over log frequency between where the music's power
    lies in each; on a slope its middle would be wrong by as much as a tone stands beside it."""
    octaves = np.log2(np.maximum(quiet.frequency_hz, quiet.frequency_hz[1]) / bands_hz[0])
    part = np.round(octaves / FIT_OCTAVES).astype(np.int64)
    lowest, highest = -round(0.5 / FIT_OCTAVES), int(np.ceil(np.log2(bands_hz[-1] / bands_hz[0]) / FIT_OCTAVES)) + 4
    within = (part >= lowest) & (part <= min(highest, int(part[-1]) - 1))
    place = part[within] - lowest
    crossed = np.conj(quiet.spectrum[within]) * loud.spectrum[within]
    weight = np.maximum(np.square(np.abs(quiet.spectrum[within])), TINY)
    power = np.bincount(place, weight)
    fitted = (np.bincount(place, crossed.real) + 1j * np.bincount(place, crossed.imag)) / power
    lies = np.bincount(place, weight * octaves[within]) / power
    return np.asarray(np.interp(octaves, lies, fitted.real) + 1j * np.interp(octaves, lies, fitted.imag))


def _band(
    quiet: CutRecording, loud: CutRecording, gain: ComplexArray, middle_hz: float
) -> dict[str, FloatArray | float]:
    """Mean squares over the cut, and over moments of it, full scale squared, of one third octave."""
    low_hz, high_hz = middle_hz / 10.0**0.05, middle_hz * 10.0**0.05
    inside = slice(*np.searchsorted(quiet.frequency_hz, [low_hz, high_hz]))
    width_hz = high_hz - low_hz
    played, heard = envelope((gain * quiet.spectrum)[inside]), envelope(loud.spectrum[inside])
    moving, followed = moving_gain(played, heard, seconds=quiet.seconds, width_hz=width_hz)
    followed += (high_hz / low_hz - 1.0) / FIT_OCTAVES / (width_hz * quiet.seconds)
    through = np.square(np.abs(gain[inside])) * float(np.mean(np.square(np.abs(moving))))
    from_quiet = float(np.mean(through * quiet.noise[inside])) * width_hz
    noise = from_quiet + float(np.mean(loud.noise[inside])) * width_hz
    own = float(np.mean(quiet.noise[inside])) * width_hz
    left, added = moving * played, heard - moving * played
    return {
        "left_then": quiet.scale * _of_moments(left, quiet.seconds),
        "added_then": quiet.scale / (1.0 - followed) * _of_moments(added, quiet.seconds),
        "quiet": less(quiet.scale * float(np.sum(np.square(np.abs(quiet.spectrum[inside])))), own),
        "left": less(quiet.scale * mean_square(left), from_quiet),
        "added": less(quiet.scale * mean_square(added) / (1.0 - followed), noise),
        "noise": noise,
    }


def envelope(bins: ComplexArray) -> ComplexArray:
    """Complex envelope of a band over the cut, two values for each that is independent; its mean square is the sum of
    the bins' squares."""
    points = scipy.fft.next_fast_len(2 * bins.size)
    return np.asarray(scipy.fft.ifft(bins, points) * points)


def moving_gain(
    played: ComplexArray, heard: ComplexArray, *, seconds: float, width_hz: float
) -> tuple[ComplexArray, float]:
    """c, and the share p of what was added that it follows by chance: for added sound of an even level, from the
    weights of the fit."""
    window_s = max(GAIN_S, LEAST_VALUES / width_hz)
    points = max(round(window_s * played.size / seconds), 3) | 1
    window = np.hanning(points + 2)[1:-1]
    power = np.square(np.abs(played))
    power = power + 1e-6 * np.mean(power) + 1e-30  # where nothing is played, nothing is followed
    weight = convolved(power, window)
    moving = convolved(np.conj(played) * heard, window) / weight
    apart = played.size / (width_hz * seconds)  # points an independent value
    own = apart * power / weight
    by_others = apart * power * convolved(power, np.square(window)) / np.square(weight)
    return np.asarray(moving), float(np.mean(2.0 * own - by_others))


def mean_square(envelope: ComplexArray) -> float:
    """Of a complex envelope."""
    return float(np.mean(np.square(np.abs(envelope))))


def _of_moments(envelope: ComplexArray, seconds: float) -> FloatArray:
    """Mean square of a complex envelope in moments of 0.1 s side by side; a point of it may last longer than one."""
    gathered = np.concatenate([[0.0], np.cumsum(np.square(np.abs(envelope)))]) * (seconds / envelope.size)
    edges_s = np.arange(int(seconds / MOMENT_S) + 1) * MOMENT_S
    return np.asarray(np.diff(np.interp(edges_s, np.linspace(0.0, seconds, gathered.size), gathered)) / MOMENT_S)


def less(power: float, noise: float) -> float:
    """`power` without its noise, where that is known."""
    known = float(np.nan_to_num(noise))
    return max(power - known, LEAST_SHARE * known)
