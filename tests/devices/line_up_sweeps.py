"""Random loudspeakers with one cause of a coincidence, through a real sweep: filter, curve, filter, delayed copy.

Unlike `line_ups`, which makes curves, this makes recordings: the analysis has to separate the orders, find the noise
and smooth, before it can look for what lines up. None is redrawn.
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import scipy.fft
from scipy.interpolate import CubicSpline

from signals.sweep import Sweep
from tests.devices.cascade import OVERSAMPLING, Resonator, chain

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

CAUSES = ("weak-fundamental", "response-peak", "made-here", "noise")
NOTHING = "nothing"
RESONANCES = "resonances"
"""Ripple made of few resonances, each of which stands by itself: what is called there may be true."""
SEEDS = {"tuning": 21, "report": 4021}

SWEEP = Sweep(seconds=6.0, drive_dbfs=-12.0)
AMPLITUDE = 10.0 ** (SWEEP.drive_dbfs / 20.0)
SILENCE_S = 1.5
ORDERS = (2, 3, 4, 5)


def bell(hz: float, q: float, gain_db: float) -> Resonator:
    """A second-order bell; a negative gain is the inverse of the positive one."""
    return Resonator(hz, q, gain=10.0 ** (abs(gain_db) / 20.0) - 1.0, inverse=gain_db < 0.0)


@dataclass(frozen=True)
class DelayedCopy:
    """Direct sound plus a copy of amplitude `reflection`, first dip at `first_dip_hz`."""

    first_dip_hz: float
    reflection: float

    def response(self, frequency_hz: FloatArray) -> ComplexArray:
        return np.asarray(1.0 + self.reflection * np.exp(-1j * np.pi * frequency_hz / self.first_dip_hz))


@dataclass(frozen=True)
class Ripple:
    """Bells and their inverses one after another, read off a fine axis: splines over log frequency."""

    over_log_hz: CubicSpline
    """Natural logarithm of the amplitude, and phase in rad, `(2,)`."""

    def response(self, frequency_hz: FloatArray) -> ComplexArray:
        inside = np.clip(frequency_hz, *np.exp(self.over_log_hz.x[[0, -1]]))
        level, phase = self.over_log_hz(np.log(inside)).T
        return np.asarray(np.exp(level + 1j * phase))


Filter = Resonator | DelayedCopy | Ripple


def ripple(random: np.random.Generator, deviation_db: float, *, few: bool = False) -> Ripple:
    """A response that scatters by about that much from 50 Hz to 10 kHz.

    Twelve bells an octave overlap, so that the sum in dB is nearly normal; their width is that of the ripple of
    `line_ups`, whose correlation falls to exp(-1/2) over 1/12 to 1/4 octave: a bump of 1.67 times that at half of its
    height, where a bell of low gain has 1.44 / Q octaves. `few` makes three an octave, each of which stands by itself.
    """
    count = 24 if few else 99  # over 8.2 octaves
    centres = np.geomspace(40.0, 12000.0, count) * 2.0 ** random.uniform(-0.2, 0.2, count)
    middle_q = 1.44 / (1.67 * random.uniform(1.0 / 12.0, 1.0 / 4.0))
    qs = random.uniform(2.0, 8.0, count) if few else middle_q * random.uniform(0.7, 1.4, count)
    gains = random.normal(size=count)
    log_hz = np.log(1.0) + np.arange(0.0, np.log(1e5), np.log(2.0) / 200.0)
    f = np.exp(log_hz)

    def made(scale: float) -> ComplexArray:
        bells = [bell(float(c), float(q), float(scale * g)) for c, g, q in zip(centres, gains, qs, strict=True)]
        return np.asarray(chain(bells, f))

    inside = (f > 50.0) & (f < 10000.0)
    response = made(deviation_db / float(np.std(20.0 * np.log10(np.abs(made(1.0)[inside])))))
    return Ripple(CubicSpline(log_hz, np.stack([np.log(np.abs(response)), np.unwrap(np.angle(response))], axis=1)))


@dataclass
class SweptDevice:
    """What is played goes through `before`; the linear part leaves by `after`, the products by `way_out`."""

    cause: str
    place_hz: float
    order: int
    before: list[Filter]
    after: list[Filter]
    way_out: list[Filter]
    levels_db: dict[int, float]
    """Of each order re the fundamental, away from everything."""
    source_db: float = 0.0
    """What the source makes more of `order` at the place, through a resonance of its own."""
    source_q: float = 3.0
    margin_db: float = 25.0
    """Of `order` over the noise, at the place."""
    random: np.random.Generator = field(default_factory=np.random.default_rng)

    def answer(self) -> FloatArray:
        """The answer to SWEEP and the silence after it; made at four times the rate, so that nothing folds."""
        rate = SWEEP.sample_rate * OVERSAMPLING
        n_out = int(scipy.fft.next_fast_len(SWEEP.n_samples + round(SILENCE_S * SWEEP.sample_rate), real=True))
        time_s = np.arange(n_out * OVERSAMPLING) / rate
        growth = np.exp(np.minimum(time_s, SWEEP.duration_s) / SWEEP.rate_s)
        envelope = np.where(time_s < SWEEP.duration_s, SWEEP.envelope(SWEEP.start_hz * growth), 0.0)
        played = AMPLITUDE * envelope * np.sin(2.0 * np.pi * SWEEP.start_hz * SWEEP.rate_s * (growth - 1.0))
        hz = np.arange(played.size // 2 + 1) * (rate / played.size)
        spectrum = scipy.fft.rfft(played) * chain(self.before, hz)
        heard = analytic(spectrum, played.size) / AMPLITUDE
        products = sum(self.amplitude(n) * (heard**n).real for n in ORDERS)
        if self.source_db:
            s = 1j * hz / self.place_hz
            own = analytic(spectrum * (s / self.source_q) / (s * s + s / self.source_q + 1.0), played.size) / AMPLITUDE
            more = 10.0 ** (self.source_db / 20.0) - 1.0
            products = products + more * self.amplitude(self.order) * (own**self.order).real
        kept = n_out // 2 + 1
        linear = spectrum[:kept] * chain(self.after, hz[:kept])
        made = AMPLITUDE * scipy.fft.rfft(products)[:kept] * chain(self.way_out, hz[:kept])
        return np.asarray(scipy.fft.irfft(linear + made, n_out) / OVERSAMPLING)

    def rises_db(self, order: int, hz: float) -> tuple[float, float, float]:
        """F, X and S of order n at `hz` in closed form, for a device without a source of its own.

        Levels at the place less the mean of those 0.3 to 1 octave away on either side; all of them from the filters.
        """
        octaves = np.concatenate([[0.0], np.linspace(0.3, 1.0, 15), -np.linspace(0.3, 1.0, 15)])
        f = hz * 2.0**octaves

        def rise(filters: list[Filter], at: FloatArray) -> float:
            level_db = 20.0 * np.log10(np.abs(chain(filters, at)))
            return float(level_db[0] - np.mean(level_db[1:]))

        into, out = rise(self.before, f), rise(self.after, f)
        return -(into + out), rise(self.way_out, order * f), order * into

    def amplitude(self, order: int) -> float:
        """Of an order re the fundamental, away from everything."""
        return float(10.0 ** (self.levels_db[order] / 20.0))


def analytic(spectrum: ComplexArray, n_samples: int) -> ComplexArray:
    """The analytic signal `(n_samples,)` of a real one's spectrum `(n_samples // 2 + 1,)`.

    The real part of its n-th power is order n alone: of A cos t it is A^n cos n t, as much as the n-th power of a
    signal makes of that order (textbook). A power would make the lower orders as well, and a source of one order could
    not be given its level.
    """
    both = np.zeros(n_samples, dtype=np.complex128)
    both[: spectrum.size] = 2.0 * spectrum
    return np.asarray(scipy.fft.ifft(both, overwrite_x=True))


def device(cause: str, seed: int, *, which: str = "report") -> SweptDevice:
    """One loudspeaker with that cause, or with nothing."""
    random = np.random.default_rng([SEEDS[which], seed, sum(map(ord, cause))])
    deviation_db, share = random.uniform(0.3, 1.5), random.uniform(0.0, 1.0)
    order = int(random.integers(2, 6))
    place_hz = float(np.exp(random.uniform(np.log(150.0), np.log(2500.0))))
    if cause in ("response-peak", "made-here"):
        place_hz = min(place_hz, 8000.0 / order)
    few = cause == RESONANCES
    after: list[Filter] = [ripple(random, deviation_db * np.sqrt(1.0 - share), few=few)]
    other: list[Filter] = [ripple(random, deviation_db * np.sqrt(1.0 - share), few=few)]
    one = SweptDevice(
        cause=cause,
        place_hz=place_hz,
        order=order,
        before=[ripple(random, deviation_db * np.sqrt(share), few=few)],
        after=after,
        way_out=after if random.integers(2) or cause == "response-peak" else other,
        levels_db={n: random.uniform(-55.0, -35.0) - 4.0 * (n - 2) for n in ORDERS},
        margin_db=random.uniform(-15.0, 6.0) if cause == "noise" else random.uniform(15.0, 35.0),
        random=random,
    )
    if cause in ("weak-fundamental", "noise"):
        _dip(one)
    elif cause == "response-peak":
        one.after.append(bell(order * place_hz, random.uniform(2.0, 8.0), random.uniform(5.0, 12.0)))
    elif cause == "made-here":
        _made_here(one)
    return one


def _dip(one: SweptDevice) -> None:
    """A dip of the fundamental that the product does not share: of even orders where both leave by a delayed copy."""
    random = one.random
    if random.integers(2):
        one.after.append(bell(one.place_hz, random.uniform(2.0, 8.0), -random.uniform(6.0, 15.0)))
        return
    one.after.append(DelayedCopy(one.place_hz, random.uniform(0.5, 0.9)))
    if one.way_out is one.after:
        one.order = int(random.choice([2, 4]))


def _made_here(one: SweptDevice) -> None:
    """A resonance before the curve; or a source of its own, at a dip or with a dip at n f."""
    random, kind = one.random, one.random.integers(3)
    if kind == 0:
        one.order = int(random.choice([2, 3]))  # x^5 at + 10 dB would be louder than the tone
        one.before.append(bell(one.place_hz, random.uniform(2.0, 6.0), random.uniform(4.0, 10.0)))
        return
    q = random.uniform(2.0, 6.0)
    one.source_q = random.uniform(2.0, 6.0)
    if kind == 1:
        one.after.append(bell(one.place_hz, q, -random.uniform(5.0, 12.0)))
        one.source_db = random.uniform(6.0, 15.0)
        return
    depth_db = random.uniform(5.0, 10.0)
    one.way_out = one.after
    one.after.append(bell(one.order * one.place_hz, q, -depth_db))
    one.source_db = depth_db + random.uniform(4.0, 10.0)


def pink_noise(random: np.random.Generator, n_samples: int) -> FloatArray:
    """Noise of equal power an octave from 10 Hz up, r.m.s. 1."""
    hz = np.maximum(np.fft.rfftfreq(n_samples, 1.0 / SWEEP.sample_rate), 10.0)
    spectrum = (random.standard_normal(hz.size) + 1j * random.standard_normal(hz.size)) / np.sqrt(hz)
    made = scipy.fft.irfft(spectrum, n_samples)
    return np.asarray(made / np.std(made))
