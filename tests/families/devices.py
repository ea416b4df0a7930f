"""A made loudspeaker: ways beside one another, each a filter, a curve and a filter; then what all of them go through.

Amplitude 1 is a sine of `UNIT_DB_SPL` at 1 m. What comes out is computed in the frequency domain, the curves in the
time domain at several times the sample rate, so that a recording holds no aliases but those that a family asks for.
`steady_db` says the same for a steady sine, from the curve's Fourier series and without any of that: the truth.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import scipy.fft
import scipy.signal

from tests.families.filters import ComplexArray, Filter, FloatArray, unity

UNIT_DB_SPL = 96.0
"""What amplitude 1 stands for."""

HIGHEST_ORDER = 10
FAINT = 1e-5
"""Amplitude at which everything is linear."""

CIRCLE = 256
"""Points of a period on which a curve is read: orders above 128 fold, which lie below -100 dB in all curves here."""


@dataclass(frozen=True, kw_only=True)
class Stimulus:
    """Samples as played at amplitude `UNIT_DB_SPL`, in a block whose length an FFT likes, with room for the decay."""

    spectrum: ComplexArray
    n: int
    sample_rate: int

    @property
    def frequency_hz(self) -> FloatArray:
        """Of the spectrum's bins."""
        return scipy.fft.rfftfreq(self.n, 1.0 / self.sample_rate)

    def samples(self, spectrum: ComplexArray) -> FloatArray:
        """At the sample rate."""
        return np.asarray(scipy.fft.irfft(spectrum, self.n))

    def fine(self, spectrum: ComplexArray, times: int) -> FloatArray:
        """At a rate `times` as high."""
        return np.asarray(scipy.fft.irfft(spectrum * times, self.n * times))

    def coarse(self, samples: FloatArray, times: int) -> ComplexArray:
        """Spectrum, up to half the sample rate, of samples at a rate `times` as high."""
        return np.asarray(scipy.fft.rfft(samples)[: self.n // 2 + 1] / times)


def stimulus(samples: FloatArray, sample_rate: int, *, decay_s: float) -> Stimulus:
    """`samples` with `decay_s` of silence behind them."""
    n = 2 * scipy.fft.next_fast_len(-(-round(samples.size + decay_s * sample_rate) // 2), real=True)
    return Stimulus(spectrum=scipy.fft.rfft(samples, n), n=n, sample_rate=sample_rate)


@dataclass(frozen=True, kw_only=True)
class Way:
    """`before`, a polynomial `sum c_n x^n`, and for each power n a filter of its own; then `after`."""

    before: Filter = unity
    powers: Mapping[int, float] = field(default_factory=lambda: {1: 1.0})
    shapes: Mapping[int, Filter] = field(default_factory=dict)
    after: Filter = unity

    def answers(self, played: Stimulus, amplitudes: Sequence[float]) -> list[ComplexArray]:
        """Spectrum at each amplitude: a power n of the input is computed once, and scales as its n-th power."""
        at_hz, after = played.frequency_hz, self.after(played.frequency_hz)
        entering = played.spectrum * self.before(at_hz)
        found = [np.zeros(at_hz.size, dtype=np.complex128) for _ in amplitudes]
        for power, coefficient in self.powers.items():
            made = _raised(played, entering, power) * (coefficient * after)
            if power in self.shapes:
                made *= self.shapes[power](at_hz)
            for place, amplitude in enumerate(amplitudes):
                found[place] += made * amplitude**power
        return found

    def steady(self, frequency_hz: FloatArray, amplitude: ComplexArray) -> ComplexArray:
        """Orders 1 to 10 of a steady sine, `(orders, n)`: cos^n holds cos k of weight 2^(1-n) n over (n-k)/2."""
        entering = amplitude * self.before(frequency_hz)
        found = np.zeros((HIGHEST_ORDER, frequency_hz.size), dtype=np.complex128)
        for power, coefficient in self.powers.items():
            for order in range(power, 0, -2):
                if order > HIGHEST_ORDER:
                    continue
                weight = math.comb(power, (power - order) // 2) * 2.0 ** (1 - power)
                made = coefficient * weight * np.abs(entering) ** power * np.exp(1j * order * np.angle(entering))
                shape = self.shapes.get(power, unity)
                found[order - 1] += made * shape(order * frequency_hz) * self.after(order * frequency_hz)
        return found


def _raised(played: Stimulus, spectrum: ComplexArray, power: int) -> ComplexArray:
    """Spectrum of the power of a signal, without aliases: n f goes up to n/2 of the rate, and may fold down to 1/2."""
    if power == 1:
        return spectrum
    times = -(-(power + 1) // 2)
    one = played.fine(spectrum, times)
    product = one * one
    for _ in range(power - 2):
        product *= one
    return played.coarse(product, times)


@dataclass(frozen=True, kw_only=True)
class Bent:
    """`before`, any curve without memory, `after`.

    oversampling   of the curve: it is chosen so that what folds lies 80 dB below the tone
    """

    curve: Callable[[FloatArray], FloatArray]
    before: Filter = unity
    after: Filter = unity
    oversampling: int = 4

    def answers(self, played: Stimulus, amplitudes: Sequence[float]) -> list[ComplexArray]:
        """Spectrum at each amplitude."""
        times, after = self.oversampling, self.after(played.frequency_hz)
        entering = played.fine(played.spectrum * self.before(played.frequency_hz), times)
        return [played.coarse(self.curve(entering * amplitude), times) * after for amplitude in amplitudes]

    def steady(self, frequency_hz: FloatArray, amplitude: ComplexArray) -> ComplexArray:
        """Orders 1 to 10 of a steady sine, `(orders, n)`, from the Fourier series over one period."""
        entering = amplitude * self.before(frequency_hz)
        turn = np.cos(2.0 * np.pi * np.arange(CIRCLE) / CIRCLE)
        bent = self.curve(np.abs(entering)[:, None] * turn)
        orders = np.arange(1, HIGHEST_ORDER + 1)
        series = 2.0 / CIRCLE * np.fft.rfft(bent, axis=1)[:, 1 : HIGHEST_ORDER + 1].T
        phases = np.exp(1j * orders[:, None] * np.angle(entering))
        return np.asarray(series * phases * np.array([self.after(order * frequency_hz) for order in orders]))


@dataclass(frozen=True, kw_only=True)
class Slow:
    """A gain that follows the power of what `heard` passes, with a time constant: heat, a limiter, a loss that grows.

    gain(power)   power 1/2 is that of a sine of amplitude 1
    """

    gain: Callable[[FloatArray], FloatArray]
    heard: Filter
    settling_s: float
    before: Filter = unity
    after: Filter = unity

    def answers(self, played: Stimulus, amplitudes: Sequence[float]) -> list[ComplexArray]:
        """Spectrum at each amplitude. The gain is slow, so what it makes of a tone stays at the tone."""
        at_hz = played.frequency_hz
        detected = np.square(played.samples(played.spectrum * self.heard(at_hz)))
        share = 1.0 - math.exp(-1.0 / (self.settling_s * played.sample_rate))
        power = scipy.signal.lfilter([share], [1.0, share - 1.0], detected)
        entering = played.samples(played.spectrum * self.before(at_hz))
        after = self.after(at_hz)
        return [
            scipy.fft.rfft(entering * self.gain(power * amplitude**2)) * (amplitude * after) for amplitude in amplitudes
        ]

    def steady(self, frequency_hz: FloatArray, amplitude: ComplexArray) -> ComplexArray:
        """Orders 1 to 10 of a steady sine, `(orders, n)`: the first alone."""
        found = np.zeros((HIGHEST_ORDER, frequency_hz.size), dtype=np.complex128)
        power = 0.5 * np.square(np.abs(amplitude * self.heard(frequency_hz)))
        found[0] = amplitude * self.gain(power) * self.before(frequency_hz) * self.after(frequency_hz)
        return found


AnyWay = Way | Bent | Slow


@dataclass(frozen=True, kw_only=True)
class Device:
    """A loudspeaker and the path to the microphone.

    ways        beside one another
    limiter     what is played goes through it before all ways; None: there is none
    absorbers   what each makes of the sum of the ways is added to it
    heard       what all of it goes through at last: radiation, reflections, room
    """

    ways: tuple[AnyWay, ...]
    limiter: Slow | None = None
    absorbers: tuple[Bent | Slow, ...] = ()
    heard: Filter = unity
    decay_s: float = 0.5

    def recorded(self, samples: FloatArray, sample_rate: int, amplitudes: Sequence[float]) -> list[FloatArray]:
        """What arrives when `samples` (of amplitude 1 for `UNIT_DB_SPL`) are played at each amplitude."""
        played = stimulus(samples, sample_rate, decay_s=self.decay_s)
        if self.limiter is None:
            sums = self._summed(played, amplitudes)
        else:
            limited = self.limiter.answers(played, amplitudes)
            sums = [self._summed(replace(played, spectrum=one), [1.0])[0] for one in limited]
        for place, total in enumerate(sums):
            for absorber in self.absorbers:
                sums[place] = sums[place] + absorber.answers(replace(played, spectrum=total), [1.0])[0]
        heard = self.heard(played.frequency_hz)
        return [played.samples(total * heard) for total in sums]

    def steady_db(self, frequency_hz: FloatArray, level_db_spl: float) -> FloatArray:
        """Level of orders 1 to 10 of a steady sine at each frequency, `(orders, n)`, dB SPL at 1 m.

        An absorber is taken as what it is to the fundamental; to products, where they are small, it is linear.
        """
        entering = np.full(frequency_hz.shape, 10.0 ** ((level_db_spl - UNIT_DB_SPL) / 20.0), dtype=np.complex128)
        if self.limiter is not None:
            entering = self.limiter.steady(frequency_hz, entering)[0]
        total = np.sum([way.steady(frequency_hz, entering) for way in self.ways], axis=0)
        for absorber in self.absorbers:
            made = absorber.steady(frequency_hz, total[0])
            for order in range(2, HIGHEST_ORDER + 1):
                faint = np.full(frequency_hz.shape, FAINT, dtype=np.complex128)
                made[order - 1] += total[order - 1] * absorber.steady(order * frequency_hz, faint)[0] / FAINT
            total = total + made
        heard = np.array([self.heard(order * frequency_hz) for order in range(1, HIGHEST_ORDER + 1)])
        return np.asarray(UNIT_DB_SPL + 20.0 * np.log10(np.maximum(np.abs(total * heard), 1e-15)))

    def with_ways(self, *more: AnyWay) -> "Device":
        """The same and `more` beside."""
        return replace(self, ways=(*self.ways, *more))

    def _summed(self, played: Stimulus, amplitudes: Sequence[float]) -> list[ComplexArray]:
        sums = [np.zeros(played.spectrum.size, dtype=np.complex128) for _ in amplitudes]
        for way in self.ways:
            for place, one in enumerate(way.answers(played, amplitudes)):
                sums[place] += one
        return sums
