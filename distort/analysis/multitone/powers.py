"""From the spectrum of a multitone's blocks to powers per third octave: lines, even, odd, noise.

All powers are those of tones (a full-scale sine has 1/2). Distortion that lies on a line cannot be seen; the odd part
is therefore filled up there with the mean of the free odd bins beside it, whatever the level of the line.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from distort.analysis.common.grid import band_edges_hz, midbands_hz
from distort.analysis.multitone.blocks import BlockSpectra
from distort.analysis.multitone.hum_lines import SteadySounds
from distort.analysis.multitone.wander import FastWander
from signals import Multitone

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

BANDS_PER_OCTAVE = 3

FILLED_FROM = (-4, -2, 2, 4)
"""Free odd bins beside a line whose mean power stands for what lies on it: four, or three where one is a line."""

MOST_SUBTRACTED = 0.9
"""At most 10 dB are taken off a reading as noise, so that one at its floor still has a place on the scale."""

BETWEEN_BINS = 0.35
"""Of a bin: the frequency of a tone is known to about a tenth of one, and mains wanders by another."""


@dataclass(frozen=True, kw_only=True)
class BandPowers:
    """Powers per third octave, `(bands,)` each, of one recording or the mean of several."""

    frequency_hz: FloatArray
    lines: FloatArray
    even: FloatArray
    odd: FloatArray
    noise: FloatArray
    """In the whole band, as recorded."""
    even_noise: FloatArray
    """Of it, what averaging left in `even`, and was subtracted."""
    odd_noise: FloatArray
    even_wander: FloatArray
    """What wander of the clocks may have put into `even`."""
    odd_wander: FloatArray
    even_hum: FloatArray
    """What steady sounds of the room and the chain, heard in the silence, put into `even`, and was subtracted."""
    odd_hum: FloatArray
    even_variance: FloatArray
    """Variance of `even` that noise leaves, a squared power."""
    odd_variance: FloatArray


@dataclass(frozen=True, kw_only=True)
class LinePowers:
    """Powers at each line, `(lines,)` each, beside its complex gain."""

    gain: npt.NDArray[np.complex128]
    noise: FloatArray
    """After averaging."""
    odd: FloatArray
    """Odd distortion on the line, by its free neighbours."""


def band_of_bins(tone: Multitone) -> tuple[FloatArray, IntArray]:
    """Midbands, and for each bin of the period the number of its band, -1 for none, `(bins,)`."""
    midbands = midbands_hz(bands_per_octave=BANDS_PER_OCTAVE)
    low, high = band_edges_hz(midbands, bands_per_octave=BANDS_PER_OCTAVE)
    frequency = np.arange(tone.period_samples // 2 + 1) / tone.period_s
    band = np.searchsorted(low, frequency, side="right") - 1
    return midbands, np.where(frequency < high[np.maximum(band, 0)], band, -1)


def free_bins(tone: Multitone) -> BoolArray:
    """True at every bin of the period that holds no line and is neither 0 nor half the sample rate, `(bins,)`."""
    free = np.ones(tone.period_samples // 2 + 1, dtype=np.bool_)
    free[[0, -1]] = False
    free[tone.line_bins] = False
    return free


def filled(power: FloatArray, tone: Multitone) -> FloatArray:
    """`power` `(bins,)` with each line's own value replaced by the mean of the free odd bins beside it."""
    beside = np.clip(tone.line_bins[:, None] + np.array(FILLED_FROM), 0, power.size - 1)
    use = free_bins(tone)[beside]  # neither end is free
    result = power.copy()
    result[tone.line_bins] = np.sum(np.where(use, power[beside], 0.0), axis=1) / np.sum(use, axis=1)
    return result


def noise_of_bands(spectra: BlockSpectra, tone: Multitone, band: IntArray, bands: int) -> FloatArray:
    """Mean noise power of a bin in each band, `(bands,)`: the scatter at the bins and the readings halfway between,
    each counted as far as it can be trusted. NaN where a band holds neither.

    Lines and the halves beside them are left out: there the line's own drift would pass for noise.
    """
    known = spectra.statistics
    free = free_bins(tone)
    halves = free[:-1] & free[1:]

    def summed(values: FloatArray, where: BoolArray, of: IntArray) -> tuple[FloatArray, FloatArray]:
        inside = where & (of >= 0)
        sums = np.bincount(of[inside], weights=values[inside], minlength=bands)
        return sums.astype(np.float64), np.bincount(of[inside], minlength=bands).astype(np.float64)

    scatter, bins = summed(spectra.scatter_noise, free, band)
    between, gaps = summed(spectra.between_noise, halves, band[:-1])
    trust = known.scatter_freedom * bins + known.between_freedom * gaps
    total = known.scatter_freedom * scatter + known.between_freedom * between
    with np.errstate(invalid="ignore"):  # of a band that holds neither
        return np.asarray(total / trust)


def band_powers(spectra: BlockSpectra, tone: Multitone) -> BandPowers:
    """Powers per third octave, noise power subtracted from the distortion; without any wander."""
    midbands, band = band_of_bins(tone)
    odd = np.arange(band.size) % 2 == 1
    even = ~odd & free_bins(tone)
    power = 0.5 * np.square(np.abs(spectra.mean))
    lines = np.zeros(midbands.size)
    on_band = band[tone.line_bins]
    np.add.at(lines, on_band[on_band >= 0], power[tone.line_bins][on_band >= 0])
    noise = noise_of_bands(spectra, tone, band, midbands.size)

    def summed(values: FloatArray, where: BoolArray) -> FloatArray:
        inside = where & (band >= 0)
        return np.bincount(band[inside], weights=values[inside], minlength=midbands.size).astype(np.float64)

    ones = np.ones(band.size)
    low, high = band_edges_hz(midbands, bands_per_octave=BANDS_PER_OCTAVE)
    share = spectra.statistics.mean_width
    left = {"even": summed(ones, even) * noise * share, "odd": summed(ones, odd) * noise * share}
    raw = {"even": summed(power, even), "odd": summed(filled(power, tone), odd)}
    net = {name: np.maximum(raw[name] - left[name], (1.0 - MOST_SUBTRACTED) * raw[name]) for name in raw}
    counts = {"even": summed(ones, even), "odd": summed(ones, odd & free_bins(tone))}
    variance = {
        name: _variance(net[name], left[name], np.maximum(counts[name], 1.0), spectra.statistics.scatter_freedom)
        for name in raw
    }
    missing = np.where((high > tone.sample_rate / 2.0) | np.isnan(noise), np.nan, 0.0)
    return BandPowers(
        frequency_hz=midbands,
        lines=lines + missing,
        even=net["even"] + missing,
        odd=net["odd"] + missing,
        noise=noise * (high - low) * tone.period_s + missing,
        even_noise=left["even"] + missing,
        odd_noise=left["odd"] + missing,
        even_wander=missing.copy(),
        odd_wander=missing.copy(),
        even_hum=missing.copy(),
        odd_hum=missing.copy(),
        even_variance=variance["even"] + missing,
        odd_variance=variance["odd"] + missing,
    )


def _variance(signal: FloatArray, noise: FloatArray, bins: FloatArray, freedom: float) -> FloatArray:
    """Of the sum over bins of |signal + noise|^2 less the noise expected: `2 S N / K + N^2 / K` (complex Gaussian
    noise, S and N the sums over K bins), and the scatter of what is subtracted, `2 N^2 / (K freedom)`."""
    return np.asarray((2.0 * signal * noise + np.square(noise) * (1.0 + 2.0 / freedom)) / bins)


def line_powers(spectra: BlockSpectra, tone: Multitone, *, late_samples: float) -> LinePowers:
    """Gain, noise and odd distortion at each line; the blocks began `late_samples` after the stimulus's start."""
    bins = tone.line_bins
    turned = np.exp(-2j * np.pi * bins * (late_samples / tone.period_samples))
    played = tone.line_amplitudes * np.exp(1j * tone.line_phases_rad)
    midbands, band = band_of_bins(tone)
    of_bands = noise_of_bands(spectra, tone, band, midbands.size)
    noise = np.where(band[bins] >= 0, of_bands[band[bins]], np.nan) * spectra.statistics.mean_width
    odd = filled(0.5 * np.square(np.abs(spectra.mean)), tone)[bins]
    return LinePowers(
        gain=np.asarray(spectra.mean[bins] * turned / played),
        noise=noise,
        odd=np.maximum(odd - np.nan_to_num(noise), (1.0 - MOST_SUBTRACTED) * odd),
    )


def with_wander(powers: BandPowers, tone: Multitone, wander: FastWander) -> BandPowers:
    """The same with what `wander` may have put into even and odd.

    A band's line power P is counted at the band's middle: P w^2 times the delay's sidebands, w in radians a sample.
    Sidebands on a line's free odd neighbours fill the line as well (a quarter more). Of an angle so large that its
    square counts, the second sidebands have an eighth of the square of the first ones' share (Bessel functions, small
    arguments); a quarter is allowed.
    """
    turn = np.square(2.0 * np.pi * powers.frequency_hz / tone.sample_rate)
    on_even, on_odd = turn * wander.odd_offsets, 1.25 * turn * wander.even_offsets
    second = 0.25 * np.square(on_even + on_odd)
    return replace(
        powers,
        even_wander=powers.lines * (on_even + second),
        odd_wander=powers.lines * (on_odd + second),
    )


def with_hum(powers: BandPowers, tone: Multitone, sounds: SteadySounds) -> BandPowers:
    """The same less the steady sounds that fall on even and odd bins; they count as noise.

    One that lies about half way between two bins (over 0.35 of one from the nearest) may be in either: it is put into
    the floors of both, and taken off both.
    """
    _, band = band_of_bins(tone)
    place = sounds.frequency_hz * tone.period_s
    nearest = np.rint(place).astype(np.int64)
    between = np.abs(place - nearest) > BETWEEN_BINS
    beside = nearest + np.where(place > nearest, 1, -1)
    bins, power = np.concatenate([nearest, beside[between]]), np.concatenate([sounds.power, sounds.power[between]])
    within = bins < band.size
    on_bins = np.bincount(bins[within], weights=power[within], minlength=band.size).astype(np.float64)
    odd = np.arange(band.size) % 2 == 1

    def summed(values: FloatArray, where: BoolArray) -> FloatArray:
        inside = where & (band >= 0)
        found = np.bincount(band[inside], weights=values[inside], minlength=powers.even.size)
        return np.asarray(found, dtype=np.float64)

    # a sound on a line's free neighbour fills the line as well, as distortion there would
    even_hum, odd_hum = summed(on_bins, ~odd), summed(filled(on_bins, tone), odd)
    heard = np.zeros(band.size)
    np.add.at(heard, nearest[nearest < band.size], sounds.power[nearest < band.size])
    least = 1.0 - MOST_SUBTRACTED
    return replace(
        powers,
        even=np.maximum(powers.even - even_hum, least * powers.even),
        odd=np.maximum(powers.odd - odd_hum, least * powers.odd),
        noise=powers.noise + summed(heard, np.ones(band.size, dtype=np.bool_)),
        even_hum=powers.even_hum + even_hum,
        odd_hum=powers.odd_hum + odd_hum,
    )
