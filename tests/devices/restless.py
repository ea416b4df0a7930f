"""Recordings of a sweep in which something sounds at a time, and of loudspeakers that make noise of their own.

Each is made from the physics of its parts, in numpy and scipy alone: a driver as a mass on a spring whose force factor
and stiffness depend on the displacement (first-order perturbation of the linear motion), a port whose jet is turbulent,
a loose part that strikes when a resonance carries it far enough, a rubbing coil, an amplifier that clips, a room of
exponentially decaying Gaussian noise (Polack), and noise that falls with frequency. Every number is drawn from a seed.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy.signal

from distort.analysis.sweep.windows import order_window, window_energy
from signals import Sweep

SILENCE_S = 1.5
"""Before and after the sweep."""

EVENTS = ("click", "speech", "speech-noise", "door")
OWN_NOISES = ("nothing", "rattle", "buzz", "port", "steady-port", "rub", "clipping")


@dataclass(frozen=True)
class Heard:
    """One recording: samples, and where the sweep begins in it."""

    samples: np.ndarray
    start: float
    sweep: Sweep


@dataclass(frozen=True)
class Restless:
    """A loudspeaker in a room; `own` is what it makes besides orders."""

    seed: int
    sweep: Sweep
    own: str = "nothing"

    def heard(self, take: int, *, short: bool = False) -> Heard:
        """The take of that number; another number, another noise."""
        sweep = replace(self.sweep, seconds=self.sweep.seconds / 2.0) if short else self.sweep
        random = np.random.default_rng([self.seed, take, int(short)])
        fixed = np.random.default_rng([self.seed, 9999])  # what stays from take to take
        quiet = round(SILENCE_S * sweep.sample_rate)
        played = np.pad(sweep.samples() / 10.0 ** (sweep.drive_dbfs / 20.0), quiet)
        if self.own == "clipping":
            played = np.pad(_clipped(sweep, fixed.uniform(0.6, 0.95)), quiet)
        made = _driver(played, fixed, sweep.sample_rate)
        if self.own in OWN_PARTS:
            part = OWN_PARTS[self.own](played, fixed, random, sweep.sample_rate)
            made = made + self._own_gain * part
        heard = _room(made, fixed, sweep.sample_rate)
        heard = heard + self.noise(heard.size, random)
        return Heard(0.5 * heard, float(quiet), sweep)

    def floor_rms(self) -> float:
        """Of the room's noise, re the fundamental's amplitude."""
        return float(10.0 ** (np.random.default_rng([self.seed, 5]).uniform(-85.0, -55.0) / 20.0))

    def noise(self, n: int, random: np.random.Generator) -> np.ndarray:
        """Noise that falls by 3 to 6 dB an octave, wanders by some decibels, with hum and the microphone's own."""
        rate = self.sweep.sample_rate
        fixed = np.random.default_rng([self.seed, 6])
        slope = fixed.uniform(0.5, 1.0)
        frequency = np.fft.rfftfreq(n, 1.0 / rate)
        shape = np.maximum(frequency, 30.0) ** -slope
        coloured = np.fft.irfft(np.fft.rfft(random.standard_normal(n)) * shape, n)
        coloured *= self.floor_rms() / np.std(coloured)
        knots = max(n // rate, 2)
        wander = np.interp(np.arange(n), np.linspace(0, n, knots), random.normal(0.0, 1.0, knots))
        coloured *= 10.0 ** (wander / 20.0)
        hum = sum(
            fixed.uniform(0.0, 1.0) / k * np.sin(2 * np.pi * 50.0 * k * np.arange(n) / rate + fixed.uniform(0, 6))
            for k in range(1, 7)
        )
        own = 10.0 ** (-2.5 + 0.0) * self.floor_rms() * random.standard_normal(n)
        return np.asarray(coloured + own + self.floor_rms() * fixed.uniform(0.0, 0.5) * hum)

    @cached_property
    def _own_gain(self) -> float:
        """So that in its loudest tenth of a second of the whole sweep it is 10 to 40 dB over the room's noise above
        500 Hz."""
        rate = self.sweep.sample_rate
        fixed = np.random.default_rng([self.seed, 9999])
        played = np.pad(self.sweep.samples() / 10.0 ** (self.sweep.drive_dbfs / 20.0), round(SILENCE_S * rate))
        _driver(played[:rate], fixed, rate)  # draws what is drawn before the part
        part = OWN_PARTS[self.own](played, fixed, np.random.default_rng([self.seed, 10]), rate)
        fixed = np.random.default_rng([self.seed, 7])
        tenth = rate // 10
        high = scipy.signal.butter(2, 500.0, "high", fs=rate, output="sos")
        above = scipy.signal.sosfilt(high, part)
        loudest = np.max(np.mean(np.square(above[: above.size // tenth * tenth].reshape(-1, tenth)), axis=1))
        floor = np.var(scipy.signal.sosfilt(high, self.noise(4 * rate, np.random.default_rng([self.seed, 8]))))
        return float(math.sqrt(floor / max(loudest, 1e-30)) * 10.0 ** (fixed.uniform(10.0, 40.0) / 20.0))


def loudspeaker(seed: int, own: str = "nothing") -> Restless:
    """One drawn by `seed`: sweeps of 5 to 20 s at 44.1 or 48 kHz."""
    random = np.random.default_rng([seed, 1])
    rate = int(random.choice([44_100, 48_000, 48_000]))
    seconds = float(random.choice([5.0, 10.0, 10.0, 15.0, 20.0]))
    return Restless(seed, Sweep(seconds=seconds, sample_rate=rate, drive_dbfs=-6.0, stop_hz=20_000.0), own)


def _resonance(signal: np.ndarray, hz: float, q: float, rate: int) -> np.ndarray:
    b, a = scipy.signal.iirpeak(hz, q, fs=rate)
    return np.asarray(scipy.signal.lfilter(b, a, signal))


def _clipped(sweep: Sweep, limit: float) -> np.ndarray:
    """A sweep of amplitude 1 clipped at `limit` by an analogue amplifier, so without images: its Fourier series
    `b_n = (2/pi) [sin((n-1) theta)/(n-1) - sin((n+1) theta)/(n+1)] + (4 c/(pi n)) cos(n theta)`, theta = asin c."""
    theta = math.asin(limit)
    growth = np.exp(np.arange(sweep.n_samples) / (sweep.sample_rate * sweep.rate_s))
    phase = 2.0 * np.pi * sweep.start_hz * sweep.rate_s * (growth - 1.0)
    made = 2.0 / np.pi * (theta + limit * math.cos(theta)) * np.sin(phase)
    for n in range(3, 60, 2):
        amplitude = 2.0 / np.pi * (math.sin((n - 1) * theta) / (n - 1) - math.sin((n + 1) * theta) / (n + 1))
        amplitude += 4.0 * limit / (np.pi * n) * math.cos(n * theta)
        below_nyquist = np.clip((0.48 * sweep.sample_rate - n * sweep.start_hz * growth) / 4000.0, 0.0, 1.0)
        made += amplitude * np.sin(n * phase) * np.sin(0.5 * np.pi * below_nyquist) ** 2
    return np.asarray(made * sweep.envelope(sweep.start_hz * growth))


def _driver(played: np.ndarray, fixed: np.random.Generator, rate: int) -> np.ndarray:
    """Sound pressure, about 1 in the middle of the band."""
    resonance_hz, q = fixed.uniform(35.0, 90.0), fixed.uniform(0.4, 1.1)
    slow = scipy.signal.sosfiltfilt(scipy.signal.butter(4, 6000.0, fs=rate, output="sos"), played)
    omega = 2.0 * np.pi * resonance_hz
    low = scipy.signal.bilinear([omega**2], [1.0, omega / q, omega**2], fs=rate)
    high = scipy.signal.bilinear([1.0, 0.0, 0.0], [1.0, omega / q, omega**2], fs=rate)
    displacement = scipy.signal.lfilter(*low, played)
    uneven, progressive, weaker = fixed.uniform(0.0, 0.05), fixed.uniform(0.0, 0.05), fixed.uniform(0.0, 0.1)
    force = (
        played
        - uneven * displacement**2
        - progressive * displacement**3
        - weaker * displacement**2 * slow
        + fixed.uniform(0.0, 0.003) * slow**2
        + fixed.uniform(0.0, 0.002) * slow**3
    )
    sound = scipy.signal.lfilter(*high, force)
    for _ in range(3):  # the cone breaks up
        sound = sound + fixed.uniform(-0.5, 1.0) * _resonance(sound, fixed.uniform(800.0, 9000.0), 8.0, rate)
    return np.asarray(sound)


def _room(sound: np.ndarray, fixed: np.random.Generator, rate: int) -> np.ndarray:
    """Behind the direct sound exponentially decaying noise."""
    rt60_s, direct_db = fixed.uniform(0.15, 0.6), fixed.uniform(-3.0, 8.0)
    time_s = np.arange(round(1.2 * rt60_s * rate)) / rate
    tail = fixed.standard_normal(time_s.size) * 10.0 ** (-3.0 * time_s / rt60_s) * (time_s > 2e-3)
    tail *= 10.0 ** (-direct_db / 20.0) / math.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return np.asarray(scipy.signal.oaconvolve(sound, tail)[: sound.size])


def _loose(
    played: np.ndarray, fixed: np.random.Generator, random: np.random.Generator, rate: int, *, regular: bool
) -> np.ndarray:
    """A part that strikes once a cycle while its resonance carries it beyond a gap, and rings."""
    motion = _resonance(played, fixed.uniform(40.0, 350.0), fixed.uniform(3.0, 12.0), rate)
    gap = fixed.uniform(0.5, 0.8) * np.max(np.abs(motion))
    beyond = motion > gap
    strikes = np.flatnonzero(beyond[1:] & ~beyond[:-1])
    clicks = np.zeros(played.size)
    jitter, misses = fixed.uniform(0.0, 0.1), fixed.uniform(0.0, 0.4)
    for first, following in zip(strikes, [*strikes[1:], strikes[-1] + rate // 50], strict=True):
        cycle = min(int(following - first), rate // 20)
        strength = np.max(motion[first : first + cycle]) - gap + 0.1 * gap
        if not regular:
            if random.random() < misses:
                continue
            strength *= math.exp(random.normal(0.0, 0.5))
        at = first + (0 if regular else round(random.normal(0.0, jitter) * cycle))
        if 0 <= at < clicks.size:
            clicks[at] += strength
    ring_s = np.arange(round(0.02 * rate)) / rate
    ring = sum(
        fixed.normal() * np.sin(2 * np.pi * fixed.uniform(800.0, 7000.0) * ring_s) * np.exp(-ring_s / tau)
        for tau in fixed.uniform(5e-4, 4e-3, 3)
    )
    return np.asarray(scipy.signal.oaconvolve(clicks, ring)[: played.size])


def _rattle(played: np.ndarray, fixed: np.random.Generator, random: np.random.Generator, rate: int) -> np.ndarray:
    return _loose(played, fixed, random, rate, regular=False)


def _buzz(played: np.ndarray, fixed: np.random.Generator, random: np.random.Generator, rate: int) -> np.ndarray:
    return _loose(played, fixed, random, rate, regular=True)


def _jet(
    played: np.ndarray, fixed: np.random.Generator, random: np.random.Generator, rate: int, *, steady: bool
) -> np.ndarray:
    """Turbulence: amplitude as the third power of the velocity in the port, over a broad hump and the pipe's
    resonances.

    steady  the eddies outlive the cycle, so that the noise does not follow the velocity within it
    """
    velocity = np.abs(_resonance(played, fixed.uniform(25.0, 70.0), fixed.uniform(1.5, 5.0), rate))
    strength = velocity ** fixed.uniform(2.0, 3.0)
    if steady:
        strength = np.maximum(
            scipy.signal.sosfiltfilt(scipy.signal.butter(1, 5.0, fs=rate, output="sos"), strength), 0.0
        )
    noise = random.standard_normal(played.size)
    hump = scipy.signal.butter(1, [fixed.uniform(150.0, 400.0), fixed.uniform(1500.0, 4000.0)], "band", fs=rate)
    noise = scipy.signal.lfilter(*hump, noise)
    pipe_hz = fixed.uniform(400.0, 1200.0)
    noise = noise + sum(0.5 / k * _resonance(noise, k * pipe_hz, 15.0, rate) for k in (1, 2, 3))
    return np.asarray(strength * noise)


def _port(played: np.ndarray, fixed: np.random.Generator, random: np.random.Generator, rate: int) -> np.ndarray:
    return _jet(played, fixed, random, rate, steady=False)


def _steady_port(played: np.ndarray, fixed: np.random.Generator, random: np.random.Generator, rate: int) -> np.ndarray:
    return _jet(played, fixed, random, rate, steady=True)


def _rub(played: np.ndarray, fixed: np.random.Generator, random: np.random.Generator, rate: int) -> np.ndarray:
    """A coil that drags on rough metal while the displacement is large: noise with the velocity, in half of the
    cycle."""
    displacement = _resonance(played, fixed.uniform(35.0, 120.0), fixed.uniform(0.7, 2.0), rate)
    velocity = np.abs(np.gradient(displacement))
    touching = np.clip(displacement / np.max(displacement) - fixed.uniform(0.3, 0.6), 0.0, None)
    band = scipy.signal.butter(1, [1000.0, 8000.0], "band", fs=rate)
    return np.asarray(touching * velocity * scipy.signal.lfilter(*band, random.standard_normal(played.size)))


OWN_PARTS: dict[str, Callable[..., np.ndarray]] = {
    "rattle": _rattle,
    "buzz": _buzz,
    "port": _port,
    "steady-port": _steady_port,
    "rub": _rub,
}


@dataclass(frozen=True)
class Event:
    """What was added to a recording, and where: seconds into the sweep."""

    kind: str
    start_s: float
    seconds: float
    over_floor_db: float
    order: int


def with_event(heard: Heard, device: Restless, kind: str, seed: int) -> tuple[Heard, Event]:
    """The recording with an event, so loud that the reading of an order from 2 to 5 holds 10 to 40 dB more of it than
    of noise, in the third octave about that order's place."""
    random = np.random.default_rng([seed, 77])
    sweep, rate = heard.sweep, heard.sweep.sample_rate
    sound, seconds = _event(kind, random, rate)
    sound = _room(np.pad(sound, (0, rate // 2)), np.random.default_rng([device.seed, 78]), rate)
    earliest = float(sweep.time_s(25.0))
    latest = float(sweep.time_s(5000.0)) - seconds
    at_s = random.uniform(earliest, latest)
    middle_hz = sweep.start_hz * math.exp((at_s + seconds / 2.0) / sweep.rate_s)
    order = int(random.integers(2, 6))
    while order * middle_hz > 14_000.0 and order > 2:
        order -= 1
    band = (order * middle_hz * 2.0 ** (-1.0 / 6.0), order * middle_hz * 2.0 ** (1.0 / 6.0))
    event_energy = _band_energy(sound, band, rate)
    noise = 0.5 * device.noise(8 * rate, np.random.default_rng([device.seed, 79]))
    noise_power = _band_energy(noise, band, rate) / noise.size
    within = window_energy(order_window(sweep, order), rate)
    over_db = random.uniform(10.0, 40.0)
    gain = math.sqrt(noise_power * within / event_energy) * 10.0 ** (over_db / 20.0)
    samples = heard.samples.copy()
    first = round(heard.start + at_s * rate)
    piece = sound[: samples.size - first]
    samples[first : first + piece.size] += gain * piece
    return replace(heard, samples=samples), Event(kind, at_s, seconds, over_db, order)


def _band_energy(signal: np.ndarray, band_hz: tuple[float, float], rate: int) -> float:
    spectrum = np.square(np.abs(np.fft.rfft(signal)))
    frequency = np.fft.rfftfreq(signal.size, 1.0 / rate)
    return float(2.0 * np.sum(spectrum[(frequency >= band_hz[0]) & (frequency < band_hz[1])]) / signal.size)


def _event(kind: str, random: np.random.Generator, rate: int) -> tuple[np.ndarray, float]:
    if kind == "click":
        return _click(random, rate)
    if kind == "door":
        return _door(random, rate)
    seconds = random.uniform(0.2, 1.0)
    n = round(seconds * rate)
    time_s = np.arange(n) / rate
    syllables = 0.55 + 0.45 * np.sin(2 * np.pi * random.uniform(3.0, 6.0) * time_s + random.uniform(0.0, 6.0))
    edges = np.clip(np.minimum(time_s, seconds - time_s) / 0.03, 0.0, 1.0)
    noise = random.standard_normal(n)
    if kind == "speech":
        pitch_hz = random.uniform(90.0, 250.0) * np.exp(0.1 * np.cumsum(random.standard_normal(n)) / math.sqrt(rate))
        phase = np.cumsum(pitch_hz) / rate
        pulses = np.diff(np.floor(phase), prepend=0.0) * pitch_hz[0] ** -0.5 * 40.0
        noise = pulses + 0.2 * noise
    source = scipy.signal.lfilter(*scipy.signal.butter(1, 500.0, fs=rate), noise) + 0.05 * noise
    spoken = source * 0.2
    for low, high in ((300.0, 800.0), (900.0, 2200.0), (2300.0, 3500.0)):
        spoken = spoken + _resonance(source, random.uniform(low, high), 6.0, rate)
    return np.asarray(spoken * syllables * edges), seconds


def _click(random: np.random.Generator, rate: int) -> tuple[np.ndarray, float]:
    """One to three strikes within 0.2 s, each ringing for some milliseconds."""
    made = np.zeros(round(0.25 * rate))
    time_s = np.arange(round(0.03 * rate)) / rate
    for at in random.uniform(0.0, 0.2, int(random.integers(1, 4))):
        ring = np.exp(-time_s / random.uniform(5e-4, 4e-3)) * random.standard_normal(time_s.size)
        first = round(at * rate)
        made[first : first + ring.size] += random.uniform(0.5, 1.0) * ring
    return made, 0.25


def _door(random: np.random.Generator, rate: int) -> tuple[np.ndarray, float]:
    """A thump with a rattle of the lock in it."""
    seconds = random.uniform(0.25, 0.6)
    time_s = np.arange(round(seconds * rate)) / rate
    thump = sum(
        random.uniform(0.3, 1.0) * np.sin(2 * np.pi * random.uniform(40.0, 300.0) * time_s + random.uniform(0.0, 6.0))
        for _ in range(5)
    ) * np.exp(-time_s / random.uniform(0.05, 0.15))
    lock = random.standard_normal(time_s.size) * np.exp(-time_s / random.uniform(0.01, 0.05))
    onset = np.clip(time_s / 0.005, 0.0, 1.0)
    return np.asarray((thump + random.uniform(0.05, 0.4) * lock) * onset), seconds


def poorly_converted(samples: np.ndarray, rate: int, *, through: int, taps: int) -> np.ndarray:
    """`samples` at another rate and back again, by interpolation over so few samples that images are left.

    taps   2: along a straight line; more: by a windowed sinc of so many samples, cut off at the lower of both rates
    """
    there = _interpolated(samples, rate, through, taps=taps)
    back = _interpolated(there, through, rate, taps=taps)
    return np.pad(back, (0, max(samples.size - back.size, 0)))[: samples.size]


def _interpolated(samples: np.ndarray, from_rate: int, to_rate: int, *, taps: int) -> np.ndarray:
    place = np.arange(math.floor((samples.size - 1) * to_rate / from_rate)) * (from_rate / to_rate)
    if taps == 2:
        return np.interp(place, np.arange(samples.size), samples)
    cut_off = min(1.0, to_rate / from_rate)
    first = np.floor(place).astype(int) - taps // 2 + 1
    padded = np.pad(samples, taps)
    made = np.zeros(place.size)
    for tap in range(taps):
        distance = first + tap - place
        weight = cut_off * np.sinc(cut_off * distance) * np.cos(np.pi * distance / (taps + 2)) ** 2
        made += weight * padded[first + tap + taps]
    return made
