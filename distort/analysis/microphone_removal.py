"""Takes the microphone's response out of what it heard: the fundamental's at f, that of order n at n f.

It is divided out of the spectra before anything is smoothed or summed, so a steep response costs no accuracy. Noise is
heard through the same microphone and is treated alike. Readings outside the range of the response become NaN.
"""

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np

from distort.analysis.microphone import MicrophoneResponse
from distort.analysis.multitone.blocks import BlockSpectra
from distort.analysis.multitone.powers import BandPowers, LinePowers
from distort.analysis.sweep.noise import NoiseDensity
from distort.analysis.sweep.orders import SeparatedOrders, WindowedSpectrum
from distort.analysis.sweep.readings import FloatArray, Reading
from signals import Multitone


def orders_in_air(separated: SeparatedOrders, microphone: MicrophoneResponse) -> SeparatedOrders:
    """The orders' spectra, whose frequencies are those in the air, without the microphone."""

    def in_air(spectra: Sequence[WindowedSpectrum]) -> tuple[WindowedSpectrum, ...]:
        return tuple(
            replace(one, values=one.values / microphone.complex_amplitude(np.arange(one.values.size) * one.bin_hz))
            for one in spectra
        )

    return replace(
        separated,
        spectra=in_air(separated.spectra),
        fundamental_in=in_air(separated.fundamental_in),
        fundamental_leak=in_air(separated.fundamental_leak),
    )


def noise_in_air(noise: NoiseDensity, microphone: MicrophoneResponse) -> NoiseDensity:
    """The noise as sound would have to be to read so."""
    return replace(noise, density=noise.density / np.square(microphone.amplitude(noise.frequency_hz)))


def only_covered(
    found: Sequence[Reading], excitation_hz: FloatArray, microphone: MicrophoneResponse
) -> tuple[Reading, ...]:
    """Readings of orders 1 ... N at `excitation_hz` `(rows,)`, NaN where the microphone is unknown at n f."""
    return tuple(
        _emptied(reading, np.where(microphone.covers(order * excitation_hz), 0.0, np.nan))
        for order, reading in enumerate(found, start=1)
    )


def _emptied(reading: Reading, blank: FloatArray) -> Reading:
    return Reading(
        power=reading.power + blank,
        noise=reading.noise + blank,
        leak=reading.leak + blank,
        variance=reading.variance + blank,
    )


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
