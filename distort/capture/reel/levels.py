"""Did the player change its level while the reel was played? All chirps are played alike, and must come back alike.

A player that turns itself up or down moves every frequency by the same amount, and stays there. A hot voice coil moves
its own band, and cools: so only chirps that follow a rest are judged, and only what is common to all bands.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.capture.reel.finding import FoundReel
from distort.errors import RecordingError

FloatArray = npt.NDArray[np.float64]

RESTED_S = 10.0
"""After that long a voice coil has cooled to some tenths of a decibel (its time constant is some seconds; common
practice, no source)."""

SAME_DB = 0.25
"""Half of 0.5 dB, the smallest step of players' volume controls (common practice, no source)."""

SIGMAS = 3.0

BANDS = 3
"""500 Hz to 1.4, 4.2 and 12 kHz: a woofer, both, and a tweeter."""


@dataclass(frozen=True, kw_only=True)
class ChirpLevels:
    """Level of each chirp against the first, by band."""

    change_db: FloatArray
    """`(chirps, BANDS)`."""
    sigma_db: FloatArray
    """Standard deviation that noise leaves to `change_db`, of the same shape."""

    def common_db(self, index: int) -> float:
        """What all bands of chirp `index` have in common: the least of their changes, 0 when they differ in sign."""
        change = self.change_db[index]
        if np.all(change > 0.0) or np.all(change < 0.0):
            return float(change[np.argmin(np.abs(change))])
        return 0.0

    @property
    def can_tell(self) -> bool:
        """Whether noise leaves a change of SAME_DB to be seen."""
        return bool(SIGMAS * float(np.max(np.median(self.sigma_db, axis=0))) < SAME_DB)


def chirp_levels(found: FoundReel) -> ChirpLevels:
    """Levels of a reel of which every chirp was heard.

    Each is read as `Re <T, Y> / <T, T>` over the band, Y the chirp's response and T the mean of all of them: noise then
    biases all alike, and not the first against the others.
    """
    heard = [one for one in found.heard if one is not None]
    size = min(one.response.size for one in heard)
    spectra = np.fft.rfft(np.stack([one.response[:size] for one in heard]), axis=1)
    cycles = np.fft.rfftfreq(size)
    turns = np.array([one.shift for one in heard])[:, np.newaxis] * cycles
    spectra = spectra * np.exp(2j * np.pi * turns)
    mean = np.mean(spectra, axis=0)
    chirp, rate = found.reel.chirp, found.rate * found.reel.sample_rate
    edges_hz = np.geomspace(chirp.low_hz, chirp.high_hz, BANDS + 1)
    gains, sigmas = [], []
    for low_hz, high_hz in itertools.pairwise(edges_hz):
        inside = (cycles * rate >= low_hz) & (cycles * rate < high_hz)
        template, spectrum = mean[inside], spectra[:, inside]
        energy = float(np.sum(np.square(np.abs(template))))
        gain = np.sum(np.real(np.conj(template) * spectrum), axis=1) / energy
        rest = np.sum(np.square(np.abs(spectrum - gain[:, np.newaxis] * template)), axis=1)
        gains.append(gain)
        sigmas.append(np.sqrt(rest / (2.0 * np.sum(inside) * energy)))
    gain, sigma = np.stack(gains, axis=1), np.stack(sigmas, axis=1)
    level_db = 20.0 * np.log10(np.maximum(gain, 1e-6))
    sigma_db = 20.0 / math.log(10.0) * sigma / np.maximum(gain, 1e-6)
    return ChirpLevels(change_db=level_db - level_db[0], sigma_db=np.hypot(sigma_db, sigma_db[0]))


def require_same_level(found: FoundReel, levels: ChirpLevels, *, what: str) -> None:
    """Raises RecordingError when a chirp after a rest is louder or quieter than the first, in all bands alike."""
    for index, mark in enumerate(found.marks):
        if mark.silence_s < RESTED_S:
            continue
        common_db = levels.common_db(index)
        allowed_db = max(SAME_DB, SIGMAS * float(np.min(levels.sigma_db[index])))
        if abs(common_db) > allowed_db:
            part = None if mark.part is None else found.reel.parts[mark.part].name.stem
            where = "at the end of the reel" if part is None else f"before {part}"
            raise RecordingError(
                f"{what}: the player had changed its level by {common_db:+.1f} dB {where}, so the levels cannot be "
                f"compared: switch off whatever turns the volume by itself, leave the control alone, and record "
                f"the reel again"
            )
