"""Takes the microphone's response out of a sweep's orders: the fundamental's at f, that of order n at n f.

It is divided out of the spectra before anything is smoothed or summed, so a steep response costs no accuracy. Noise is
heard through the same microphone and is treated alike. Readings outside the range of the response become NaN."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.sweep.noise import NoiseDensity
from distort.analysis.sweep.orders import SeparatedOrders, WindowedSpectrum
from distort.analysis.sweep.readings import FloatArray, Reading


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
