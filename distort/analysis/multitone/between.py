"""Noise while a multitone sounds, and noise in the silence beside it, per third octave: what the one has over the other
came with the sound.

Whatever repeats with the period lies on its bins, distortion too, and where that drifts (a coil that warms) it stays
within half of the way to the next bin (`blocks`). Halfway between two bins there is noise alone, so nothing but that
is read here. The scatter of the blocks at the bins themselves tells more of steady noise, and takes drifting distortion
for noise: with a limiter at work by 16 dB.

Steady tones of the room stand in the silence, and beside the multitone on bins as a rule: they are left out of both.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.grid import band_edges_hz
from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.common.welch import welch
from distort.analysis.multitone.blocks import BlockSpectra
from distort.analysis.multitone.hum_lines import SteadySounds
from distort.analysis.multitone.powers import BANDS_PER_OCTAVE, band_of_bins, free_bins
from signals import Multitone
from signals.windows import blackman_harris

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

NEAR_BINS = 0.6
"""Of the period: a tone nearer than that to a reading halfway between two bins is in it. Blackman-Harris reaches half a
bin; a tenth of one is mains that wanders."""

LOBE_BINS = 4
"""A Blackman-Harris window's main lobe reaches so far to either side; what is farther from a tone is 92 dB below it."""

WINDOW_BINS = 2.763
"""So many bins of a periodogram under that window tell as much as one that is independent: the sum of the squared
correlations between bins that are 0, 1, 2, ... apart, 1 + 2 (0.666 + 0.192 + 0.022 + 0.001), of the transform of its
square."""


@dataclass(frozen=True, kw_only=True)
class NoiseHeard:
    """Powers per third octave, a full-scale sine being 1/2, `(bands,)` each; NaN: nothing to be read."""

    frequency_hz: FloatArray
    sounding: FloatArray
    """While the multitone plays."""
    sounding_freedom: FloatArray
    """Degrees of freedom of that."""
    silences: FloatArray
    """Of every silence by itself, `(silences, bands)`; at least one."""
    silence_freedom: FloatArray
    """Of one silence."""

    @property
    def silent(self) -> FloatArray:
        """The mean of the silences."""
        return np.asarray(np.mean(self.silences, axis=0))


def noise_heard(
    spectra: BlockSpectra,
    tone: Multitone,
    *,
    silences: Sequence[FloatArray],
    sounds: SteadySounds,
    microphone: MicrophoneResponse | None,
) -> NoiseHeard | None:
    """What one recording holds; None where it holds no silence, which alone would tell what came with the sound.

    spectra   less the microphone's response
    silences  as recorded, `(samples,)` each, at the multitone's rate
    """
    if not silences:
        return None
    midbands_hz, band = band_of_bins(tone)
    halfway_hz = np.asarray((np.arange(spectra.between_noise.size) + 0.5) / tone.period_s, dtype=np.float64)
    length = min(one.size for one in silences)
    bin_hz = tone.sample_rate / length
    free = free_bins(tone)
    use = free[:-1] & free[1:] & (band[:-1] >= 0) & (band[:-1] == band[1:])
    use &= _apart(halfway_hz, sounds.frequency_hz, NEAR_BINS / tone.period_s + LOBE_BINS * bin_hz)
    on_band = band[:-1][use]
    low_hz, high_hz = band_edges_hz(midbands_hz, bands_per_octave=BANDS_PER_OCTAVE)
    count = np.bincount(on_band, minlength=midbands_hz.size)
    known = (count > 0) & (high_hz <= tone.sample_rate / 2.0)
    if microphone is not None:
        known &= microphone.covers(midbands_hz)

    def summed(density: FloatArray) -> FloatArray:
        """Of the band, from the mean of its density, per hertz, where it is read."""
        sums = np.bincount(on_band, weights=density[use], minlength=midbands_hz.size)
        return np.where(known, sums / np.maximum(count, 1) * (high_hz - low_hz), np.nan)

    silent = _densities(silences, length, at_hz=halfway_hz, tone=tone, microphone=microphone)
    read_hz = count / tone.period_s
    return NoiseHeard(
        frequency_hz=midbands_hz,
        sounding=summed(spectra.between_noise * tone.period_s),
        sounding_freedom=np.where(known, spectra.statistics.between_freedom * count, np.nan),
        silences=np.array([summed(each) for each in silent]),
        silence_freedom=np.where(known, np.maximum(2.0 * read_hz / bin_hz / WINDOW_BINS, 2.0), np.nan),
    )


def _apart(places_hz: FloatArray, tones_hz: FloatArray, least_hz: float) -> BoolArray:
    """Places that no tone is near, `(places,)`."""
    if not tones_hz.size:
        return np.ones(places_hz.size, dtype=np.bool_)
    after = np.searchsorted(tones_hz, places_hz)
    above = tones_hz[np.minimum(after, tones_hz.size - 1)] - places_hz
    below = places_hz - tones_hz[np.maximum(after - 1, 0)]
    return np.asarray(np.minimum(np.abs(above), np.abs(below)) > least_hz)


def _densities(
    silences: Sequence[FloatArray],
    length: int,
    *,
    at_hz: FloatArray,
    tone: Multitone,
    microphone: MicrophoneResponse | None,
) -> FloatArray:
    """Density of each silence per hertz, the mean over one bin of the period about each place, `(silences, places)`."""
    amplitude = 1.0 if microphone is None else microphone.amplitude(at_hz)
    edges_hz = np.append(at_hz - 0.5 / tone.period_s, at_hz[-1] + 0.5 / tone.period_s)
    found = []
    window = blackman_harris(length)
    for silence in silences:
        frequency_hz, density = welch(silence, tone.sample_rate, block=length, window=window)
        below = scipy.integrate.cumulative_trapezoid(np.asarray(density), frequency_hz, initial=0)
        found.append(np.diff(np.interp(edges_hz, frequency_hz, below)) * tone.period_s / np.square(amplitude))
    return np.array(found)


def mean_heard(heard: Sequence[NoiseHeard | None]) -> NoiseHeard | None:
    """Several takes of one multitone as one; None where one of them has no silence."""
    known = [one for one in heard if one is not None]
    if not known or len(known) < len(heard):
        return None
    return NoiseHeard(
        frequency_hz=known[0].frequency_hz,
        sounding=np.mean([one.sounding for one in known], axis=0),
        sounding_freedom=np.sum([one.sounding_freedom for one in known], axis=0),
        silences=np.concatenate([one.silences for one in known]),
        silence_freedom=np.min([one.silence_freedom for one in known], axis=0),
    )
