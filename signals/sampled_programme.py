"""A piece of music or speech of the user's own, from a file."""

from dataclasses import dataclass, replace
from functools import lru_cache
from math import gcd

import numpy as np
import numpy.typing as npt
import scipy

from signals.checks import require_finite, require_positive, require_sample_rate, require_within_full_scale
from signals.errors import SignalError
from signals.held import held_samples, is_held
from signals.levels import FULL_SCALE_SINE_RMS, amplitude_to_db
from signals.programme import EDGE_S, Programme, loudest_db
from signals.tapers import log_rise, rise

FloatArray = npt.NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 20.0, 20000.0
"""What is played of it, fading within a third of an octave beyond; of a low sample rate less."""

HIGHEST_SHARE = 0.45
"""Of either sample rate: above it a converter's filter begins to act."""

TRIAL_DRIVE_DBFS = -60.0
"""Any low drive, at which no peak passes full scale."""

SHORTEST_S, LONGEST_S = 5.0, 60.0
"""Shorter pieces hold too little of anything to average; a longer one at every level takes an evening."""


@dataclass(frozen=True, kw_only=True)
class SampledProgramme(Programme):
    """A piece from a file, at the sample rate and the drive of the session.

    samples_sha256     of the file's samples, channels averaged, as 64-bit floats at their own rate (`hold_samples`)
    given_rate         their sample rate
    n_given            their number
    given_crest_db     peak over that of a sine of its r.m.s., as it is played
    given_loudest_db   r.m.s. of its loudest 125 ms over that of all of it, as it is played

    `from_samples` finds the last two. Raises SignalError for fields that make none.
    """

    samples_sha256: str
    given_rate: int
    n_given: int
    given_crest_db: float
    given_loudest_db: float

    def __post_init__(self) -> None:
        require_sample_rate(self.given_rate)
        require_positive(n_given=self.n_given)
        require_finite(given_crest_db=self.given_crest_db, given_loudest_db=self.given_loudest_db)
        super().__post_init__()
        require_within_full_scale(self.peak_dbfs)
        if not SHORTEST_S <= self.n_given / self.given_rate <= LONGEST_S:
            raise SignalError(
                f"a piece of {self.n_given / self.given_rate:.1f} s cannot be played: cut out {SHORTEST_S:g} to "
                f"{LONGEST_S:g} s of it"
            )

    @property
    def n_samples(self) -> int:
        """Length in samples, as it is played."""
        return -(-self.n_given * self.sample_rate // self.given_rate)

    @property
    def begins_hz(self) -> float:
        """The lowest frequency that is played."""
        return self.lowest_hz or LOWEST_HZ

    @property
    def highest_hz(self) -> float:
        """Where it ends, as far as both sample rates allow."""
        return min(HIGHEST_HZ, HIGHEST_SHARE * self.sample_rate, HIGHEST_SHARE * self.given_rate)

    @property
    def peak_dbfs(self) -> float:
        """Highest sample re digital full scale, dB."""
        return self.drive_dbfs + self.given_crest_db

    @property
    def loudest_db(self) -> float:
        """r.m.s. of its loudest 125 ms over that of all of it."""
        return self.given_loudest_db

    @property
    def held(self) -> bool:
        """Whether somebody has given its samples."""
        return is_held(self.samples_sha256)

    def _unit(self) -> FloatArray:
        return _played(self.samples_sha256, self.given_rate, self.sample_rate, (self.begins_hz, self.highest_hz))


def from_samples(
    samples_sha256: str, *, given_rate: int, sample_rate: int, drive_dbfs: float, lowest_hz: float | None = None
) -> SampledProgramme:
    """The piece of the samples that were given under this hash, to be played at `sample_rate`.

    Raises SignalError when nobody has given them, they hold no sound between the frequencies that are played, are too
    short or too long, or the peak would pass full scale.
    """
    given = held_samples(samples_sha256, what="piece of music")
    trial = SampledProgramme(
        seconds=given.size / given_rate,
        sample_rate=sample_rate,
        drive_dbfs=TRIAL_DRIVE_DBFS,
        lowest_hz=lowest_hz,
        samples_sha256=samples_sha256,
        given_rate=given_rate,
        n_given=given.size,
        given_crest_db=0.0,
        given_loudest_db=0.0,
    )
    played = trial._unit()
    return replace(
        trial,
        drive_dbfs=drive_dbfs,
        given_crest_db=float(amplitude_to_db(np.max(np.abs(played)))),
        given_loudest_db=loudest_db(played, sample_rate),
    )


@lru_cache(maxsize=4)
def _played(samples_sha256: str, given_rate: int, sample_rate: int, band_hz: tuple[float, float]) -> FloatArray:
    """The piece at a drive of 0 dBFS: through a band-pass of no phase at the new sample rate, in one transform.

    Padded with silence to a length that is a whole number of samples at both rates, for half a second at least, in
    which the filter rings out.
    """
    given = held_samples(samples_sha256, what="piece of music")
    common = gcd(given_rate, sample_rate)
    down, up = given_rate // common, sample_rate // common
    blocks = scipy.fft.next_fast_len(-(-(given.size + given_rate // 2) // down), real=True)
    since_s = np.arange(given.size) / given_rate
    faded = (given - np.mean(given)) * rise(since_s / EDGE_S) * rise((since_s[-1] - since_s) / EDGE_S)
    spectrum = scipy.fft.rfft(faded, blocks * down)
    frequency_hz = scipy.fft.rfftfreq(blocks * down, 1.0 / given_rate)
    third = 10.0**0.1
    low_hz, high_hz = band_hz
    spectrum *= log_rise(frequency_hz, from_hz=low_hz / third, to_hz=low_hz)
    spectrum *= log_rise(frequency_hz, from_hz=min(high_hz * third, given_rate / 2.0), to_hz=high_hz)
    kept = np.zeros(blocks * up // 2 + 1, dtype=np.complex128)
    shared = min(kept.size, spectrum.size)
    kept[:shared] = spectrum[:shared]
    played = scipy.fft.irfft(kept, blocks * up)[: -(-given.size * sample_rate // given_rate)]
    rms = np.sqrt(np.mean(np.square(played)))
    if not rms > 1e-9 * np.max(np.abs(given), initial=0.0):
        raise SignalError(f"the piece holds no sound between {low_hz:g} and {high_hz:g} Hz")
    played *= FULL_SCALE_SINE_RMS / rms
    played.flags.writeable = False
    return np.asarray(played)
