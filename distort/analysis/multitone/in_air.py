"""Takes the microphone's response out of a multitone's spectra; what lies outside its range becomes NaN."""

from dataclasses import fields, replace

import numpy as np

from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.multitone.blocks import BlockSpectra
from distort.analysis.multitone.powers import BandPowers, LinePowers
from signals import Multitone


def blocks_in_air(spectra: BlockSpectra, tone: Multitone, microphone: MicrophoneResponse) -> BlockSpectra:
    """A multitone's spectra without the microphone. What stands beside a line re the line is left as it was: it lies
    within 7 bins of it."""
    bins_hz = np.arange(spectra.mean.size) / tone.period_s
    halfway_hz = (np.arange(spectra.between_noise.size) + 0.5) / tone.period_s
    return replace(
        spectra,
        mean=spectra.mean / microphone.complex_amplitude(bins_hz),
        scatter_noise=spectra.scatter_noise / np.square(microphone.amplitude(bins_hz)),
        between_noise=spectra.between_noise / np.square(microphone.amplitude(halfway_hz)),
    )


def only_covered_bands(bands: BandPowers, microphone: MicrophoneResponse) -> BandPowers:
    """Bands whose midband lies outside the microphone's response become NaN."""
    blank = np.where(microphone.covers(bands.frequency_hz), 0.0, np.nan)
    named = {one.name: getattr(bands, one.name) for one in fields(bands)}
    return BandPowers(**{name: own if name == "frequency_hz" else own + blank for name, own in named.items()})


def only_covered_lines(lines: LinePowers, tone: Multitone, microphone: MicrophoneResponse) -> LinePowers:
    """Lines outside the microphone's response become NaN."""
    blank = np.where(microphone.covers(tone.line_hz), 0.0, np.nan)
    return LinePowers(gain=lines.gain + blank, noise=lines.noise + blank, odd=lines.odd + blank)
