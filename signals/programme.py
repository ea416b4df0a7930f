"""A short piece of music, made here: drums, a bass, chords and a line that sounds like a voice.

What a loudspeaker does to music depends on all that music has at once: hits that stand far above the mean, a bass that
moves the cone while a voice sings, and a spectrum that falls towards the treble. The piece has these and nothing that
anybody owns (public domain, CC0). A bar is two seconds: four beats, a chord of the row a minor, F, C, G.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from signals.checks import require_finite, require_length, require_positive, require_sample_rate
from signals.errors import SignalError
from signals.levels import FULL_SCALE_SINE_RMS, amplitude_to_db, db_to_amplitude, power_to_db
from signals.tapers import log_rise, rise

FloatArray = npt.NDArray[np.float64]

BEAT_S, BEATS_A_BAR = 0.5, 4

CHORDS_HZ = (
    (55.0, 220.0, 261.6, 329.6),
    (43.65, 174.6, 220.0, 261.6),
    (65.4, 196.0, 261.6, 329.6),
    (49.0, 196.0, 246.9, 293.7),
)
"""Bass and three notes of each bar, equal temperament on a' = 440 Hz."""

MELODY_HZ = (329.6, 293.7, 261.6, 246.9, 220.0, 261.6, 293.7, 329.6)
"""A note every half bar, sung."""

FORMANTS_HZ = ((700.0, 1100.0, 2600.0), (350.0, 2000.0, 2800.0))
"""Two vowels in turn, near those of "father" and "see" (Peterson and Barney, JASA 24, 1952, rounded; from memory)."""

FORMANT_WIDTH_HZ = 120.0

LEVEL_UP_TO_HZ, FALL_DB_AN_OCTAVE = 500.0, 3.0
"""The spectrum over the whole piece, in third octaves, is even up to here and falls so fast above: as much music does
(common practice, no source)."""

LOWEST_HZ, HIGHEST_HZ = 40.0, 16000.0
"""What the piece reaches: it comes in over the third of an octave below, and has faded away at the upper end over the
third of an octave before it, so that no sample rate is asked for more."""

EDGE_S = 0.02
"""Its beginning and end are faded within this."""

HIGHEST_CREST_DB, HIGHEST_CREST_HIGH_DB = 15.0, 26.0
"""Its peaks are at most so far above its drive at any length and rate: of a piece that begins at 120 Hz or below, whose
bass fills the time between the hits (found: up to 14.0), and of one without its bass (found: up to 24.4 from 4 kHz)."""

BASS_HZ = 120.0

LEAST_S = 2.0
"""One bar."""

FAST_S = 0.125
"""Over which its loudest stretch is read: the time weighting F of sound level meters (IEC 61672-1)."""


@dataclass(frozen=True, kw_only=True)
class Programme:
    """The piece, `seconds` of it.

    drive_dbfs   r.m.s. over all of it (AES17); its peaks stand some 12 to 13 dB above that of a sine of this drive
    lowest_hz    nothing is played below; None: the piece's own 40 Hz

    Raises SignalError for fields that make none.
    """

    seconds: float = 8.0
    sample_rate: int = 48000
    drive_dbfs: float = -40.0
    lowest_hz: float | None = None

    def __post_init__(self) -> None:
        require_positive(seconds=self.seconds)
        require_finite(drive_dbfs=self.drive_dbfs)
        require_sample_rate(self.sample_rate)
        require_length(self.seconds * self.sample_rate)
        if self.seconds < LEAST_S:
            raise SignalError(f"a programme of {self.seconds:g} s is shorter than a bar: take {LEAST_S:g} s or more")
        if self.lowest_hz is not None:
            require_positive(lowest_hz=self.lowest_hz)
            if self.lowest_hz > self.highest_hz / 4.0:
                raise SignalError(f"lowest_hz = {self.lowest_hz:g} leaves nothing of a programme: lower it")
        highest_db = HIGHEST_CREST_DB if self.begins_hz <= BASS_HZ else HIGHEST_CREST_HIGH_DB
        if self.drive_dbfs > -highest_db and self.peak_dbfs > 0.0:  # the piece is made only where that is in question
            raise SignalError(
                f"a programme with a drive of {self.drive_dbfs:.2f} dBFS has peaks of {self.peak_dbfs:+.2f} dBFS: "
                f"lower its drive"
            )

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return round(self.seconds * self.sample_rate)

    @property
    def highest_hz(self) -> float:
        """Where it ends, as far as the sample rate allows."""
        return min(HIGHEST_HZ, 0.4 * self.sample_rate)

    @property
    def peak_dbfs(self) -> float:
        """Highest sample re digital full scale, dB."""
        return float(amplitude_to_db(np.max(np.abs(self._unit())))) + self.drive_dbfs

    @property
    def begins_hz(self) -> float:
        """The lowest frequency that is played."""
        return self.lowest_hz or LOWEST_HZ

    @property
    def loudest_db(self) -> float:
        """r.m.s. of its loudest 125 ms over that of all of it."""
        return loudest_db(self._unit(), self.sample_rate)

    @property
    def crest_db(self) -> float:
        """Its peak over that of a sine of its r.m.s."""
        return self.peak_dbfs - self.drive_dbfs

    def samples(self) -> FloatArray:
        """The piece as float64 `(n_samples,)`, digital full scale = 1."""
        return np.asarray(self._unit() * db_to_amplitude(self.drive_dbfs))

    def _unit(self) -> FloatArray:
        return _piece(self.n_samples, self.sample_rate, self.begins_hz, self.highest_hz)


def loudest_db(played: FloatArray, sample_rate: int) -> float:
    """r.m.s. of the loudest 125 ms of `played` `(n,)` over that of all of it, dB."""
    power = np.square(played)
    running = np.concatenate([[0.0], np.cumsum(power)])
    window = min(round(FAST_S * sample_rate), played.size)
    return float(power_to_db(np.max(running[window:] - running[:-window]) / window / np.mean(power)))


@lru_cache(maxsize=8)
def _piece(n_samples: int, sample_rate: int, lowest_hz: float, highest_hz: float) -> FloatArray:
    """The piece at a drive of 0 dBFS, `(n_samples,)`."""
    time_s = np.arange(n_samples) / sample_rate
    played = _drums(time_s) + _bass(time_s) + _chords(time_s) + _voice(time_s)
    played = _with_spectrum(played, sample_rate, lowest_hz, highest_hz)
    played *= rise(time_s / EDGE_S) * rise((time_s[-1] - time_s) / EDGE_S)
    played *= FULL_SCALE_SINE_RMS / np.sqrt(np.mean(np.square(played)))
    played.flags.writeable = False
    return played


def _since(time_s: FloatArray, *, every_s: float, first_s: float = 0.0) -> FloatArray:
    """Seconds since the last of some even events; infinite before the first."""
    return np.where(time_s < first_s, np.inf, np.mod(time_s - first_s, every_s))


def _drums(time_s: FloatArray) -> FloatArray:
    """A bass drum on the first and third beat, a snare on the others, a closed hi-hat on every half beat.

    Bass drum: 1.6 of a sine that falls from 150 to 50 Hz, by e in 30 ms; snare: 0.8 of one of 190 Hz and half as much
    noise; hi-hat: 0.15 of noise as the differences of its samples leave it. They die away by e in 120, 60 and 20 ms.
    """
    noise = np.random.default_rng(1).standard_normal((2, time_s.size))
    kick_s, snare_s = _since(time_s, every_s=2 * BEAT_S), _since(time_s, every_s=2 * BEAT_S, first_s=BEAT_S)
    hat_s = _since(time_s, every_s=BEAT_S / 2)
    falling = 2.0 * np.pi * (50.0 * kick_s - 3.0 * np.exp(-kick_s / 0.03))
    kick = np.sin(falling) * np.exp(-kick_s / 0.12)
    snare = (0.5 * noise[0] + np.sin(2.0 * np.pi * 190.0 * time_s)) * np.exp(-snare_s / 0.06)
    hat = np.diff(noise[1], prepend=0.0) * np.exp(-hat_s / 0.02)
    return np.asarray(1.6 * kick + 0.8 * snare + 0.15 * hat)


def _bar(time_s: FloatArray) -> npt.NDArray[np.int64]:
    return (time_s / (BEAT_S * BEATS_A_BAR)).astype(np.int64) % len(CHORDS_HZ)


def _bass(time_s: FloatArray) -> FloatArray:
    """The lowest note of the bar, plucked on every beat: twelve harmonics, each weaker as its number, 0.5 the first,
    dying away by e in 0.35 s."""
    turns = np.array([chord[0] for chord in CHORDS_HZ])[_bar(time_s)] * time_s
    plucked = np.exp(-_since(time_s, every_s=BEAT_S) / 0.35)
    return np.asarray(0.5 * plucked * sum(np.sin(2.0 * np.pi * n * turns) / n for n in range(1, 13)))


def _chords(time_s: FloatArray) -> FloatArray:
    """Three notes of the bar, swelling with it within 0.3 s: ten harmonics each, weaker as the power 1.5 of their
    number, 0.15 the first; the second and third note begin one and two radians later, so that not all peaks meet."""
    swell = rise(_since(time_s, every_s=BEAT_S * BEATS_A_BAR) / 0.3)
    notes = [np.array([chord[one] for chord in CHORDS_HZ])[_bar(time_s)] * time_s for one in (1, 2, 3)]
    tones = [np.sin(2.0 * np.pi * n * turns + one) / n**1.5 for one, turns in enumerate(notes) for n in range(1, 11)]
    return np.asarray(0.15 * swell * sum(tones))


def _voice(time_s: FloatArray) -> FloatArray:
    """A line with vibrato, whose harmonics stand out where the vowel's formants are; four syllables a second.

    24 harmonics of `0.6 sum over the formants F of 1 / (1 + ((n f - F) / 120 Hz)^2)`, f the note; the vibrato is 1 % of
    the frequency, 5.5 times a second; a syllable swells within 40 ms and dies away by e in 0.2 s.
    """
    half_bar_s = BEAT_S * BEATS_A_BAR / 2
    note = (time_s / half_bar_s).astype(np.int64) % len(MELODY_HZ)
    vowel = (time_s / BEAT_S).astype(np.int64) % len(FORMANTS_HZ)
    within_s = np.mod(time_s, half_bar_s)
    base_hz = np.array(MELODY_HZ)[note]
    turns = base_hz * (within_s + 0.01 / (2.0 * np.pi * 5.5) * np.sin(2.0 * np.pi * 5.5 * within_s))
    sung = np.zeros(time_s.size)
    for n in range(1, 25):
        away = (n * np.array(MELODY_HZ)[:, np.newaxis, np.newaxis] - np.array(FORMANTS_HZ)) / FORMANT_WIDTH_HZ
        stands_out = np.sum(1.0 / (1.0 + np.square(away)), axis=2)  # of each note and vowel
        sung += stands_out[note, vowel] * np.sin(2.0 * np.pi * n * turns)
    syllable = rise(_since(time_s, every_s=BEAT_S / 2) / 0.04) * np.exp(-_since(time_s, every_s=BEAT_S / 2) / 0.2)
    return np.asarray(0.6 * syllable * sung)


def _with_spectrum(played: FloatArray, sample_rate: int, lowest_hz: float, highest_hz: float) -> FloatArray:
    """`played` through a filter of no phase that brings its third octaves to the spectrum that is wanted."""
    spectrum = np.fft.rfft(played)
    frequency_hz = np.fft.rfftfreq(played.size, 1.0 / sample_rate)
    middle_hz = 10.0 ** (0.1 * np.arange(np.floor(10.0 * np.log10(lowest_hz)), 10.0 * np.log10(highest_hz) + 1.0))
    power = np.square(np.abs(spectrum))
    edge = 10.0**0.05
    held = [np.sum(power[(frequency_hz >= one / edge) & (frequency_hz < one * edge)]) for one in middle_hz]
    wanted_db = -FALL_DB_AN_OCTAVE * np.maximum(np.log2(middle_hz / LEVEL_UP_TO_HZ), 0.0)
    gain_db = wanted_db - 10.0 * np.log10(np.maximum(held, np.max(held) * 1e-9))
    shape = db_to_amplitude(np.interp(np.log(np.maximum(frequency_hz, 1.0)), np.log(middle_hz), gain_db))
    third = 10.0**0.1
    inside = log_rise(frequency_hz, from_hz=lowest_hz / third, to_hz=lowest_hz)
    inside *= log_rise(frequency_hz, from_hz=highest_hz, to_hz=highest_hz / third)
    return np.asarray(np.fft.irfft(spectrum * shape * inside, played.size))
