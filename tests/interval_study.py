"""Readings of orders 2 to 5 with their stated intervals, held against steady answers that are known otherwise.

The truth of a reading is what the tool says that it states: what steady tones at the same drive would read, averaged in
power over the smoothing's width, order n about n f and the fundamental about f.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import scipy

from distort.analysis.common.curves import Harmonics
from distort.analysis.common.grid import OCTAVE_RATIO, grid_hz
from distort.analysis.sweep.sweeps import Reference, Settings, SweepReadings, SweepTake, read_sweep, sweep_harmonics
from signals import Sweep
from tests.devices import moving_coil
from tests.devices.rooms_elsewhere import RATE, Bell, CurveInRoom, HighPass, image_sources, noise_tail

HZ = grid_hz()
SETTINGS = Settings(orders=6)
DRIVE_DBFS = -3.0
SILENCE_S = 2.0
LEVELS_DB = (-20.0, -8.0, 0.0)
NOISE_DBFS = -70.0
RATE_S = 1.3
"""L of the default sweep of 10 s."""


@dataclass(frozen=True)
class Readings:
    """Of one order of one sweep: error and half-width in dB, and how far it stands above its noise, `(readings,)`."""

    place: str
    order: int
    error_db: np.ndarray
    interval_db: np.ndarray
    noise_uncertainty_db: np.ndarray
    clear_db: np.ndarray


def sweeps(stop_hz: float, rate: int) -> tuple[Sweep, Sweep]:
    """One at the pace of the default sweep, and one of half the length."""
    seconds = RATE_S * np.log(stop_hz / 10.0)
    long, short = (
        Sweep(stop_hz=stop_hz, seconds=length, sample_rate=rate, drive_dbfs=DRIVE_DBFS)
        for length in (seconds, seconds / 2)
    )
    return long, short


def recorded(answer: np.ndarray, rate: int, noise_rms: float, random: np.random.Generator) -> SweepTake:
    """`answer` between two silences, in noise that falls 3 dB an octave."""
    quiet = round(SILENCE_S * rate)
    samples = np.pad(answer, quiet)
    spectrum = scipy.fft.rfft(random.standard_normal(samples.size))
    hz = np.maximum(np.arange(spectrum.size) * rate / samples.size, 20.0)
    samples += noise_rms * scipy.fft.irfft(spectrum * np.sqrt(100.0 / hz), samples.size)
    near = round(0.1 * rate)
    return SweepTake(samples=samples, start=float(quiet), silences=(samples[: quiet - near], samples[near - quiet :]))


def over_width(powers, order: int) -> np.ndarray:
    """Mean of `powers(product_hz)` over a twelfth of an octave about n f, `(rows,)`."""
    half = OCTAVE_RATIO ** (1.0 / 24.0)
    share = np.linspace(0.0, 1.0, 401)
    at_hz = order * HZ[:, None] * (1.0 / half + (half - 1.0 / half) * share)
    return np.trapezoid(powers(at_hz), share, axis=1)


def held_against(found: Harmonics, truth: dict[int, np.ndarray], place: str, rows: np.ndarray) -> Iterator[Readings]:
    """The orders' readings against `truth`, power of each order on the grid, at every second of `rows`."""
    for order in found.orders[:4]:
        error_db = order.relative_db - 10.0 * np.log10(truth[order.order] / truth[1])
        at = np.flatnonzero(rows & np.isfinite(order.relative_db))[::2]
        yield Readings(
            place=place,
            order=order.order,
            error_db=error_db[at],
            interval_db=order.uncertainty_db[at],
            noise_uncertainty_db=order.noise_uncertainty_db[at],
            clear_db=(order.relative_db - order.noise_db)[at],
        )


def curve_in_room(seed: int, place: str) -> CurveInRoom:
    """A high-pass and a bell, a curve of fifth degree, another bell, and a room of 0.3 to 0.5 s (or none)."""
    random = np.random.default_rng(seed)
    rt60_s = random.uniform(0.3, 0.5)
    if place == "decaying noise":
        room = noise_tail(rt60_s=rt60_s, direct_to_reverberant_db=random.uniform(-3, 8), seed=seed)
    elif place == "image sources":
        size = tuple(random.uniform([3.5, 3.0, 2.3], [6.0, 4.5, 2.9]))
        room = image_sources(rt60_s=rt60_s, size_m=size, distance_m=random.uniform(0.7, 1.5), seed=seed)
    else:
        room = np.ones(1)
    powers = [
        random.choice([-1.0, 1.0]) * 10.0 ** (-(below + random.uniform(-6, 6)) / 20.0) for below in (26, 28, 34, 38)
    ]
    return CurveInRoom(
        before=(
            HighPass(random.uniform(40, 110), random.uniform(0.5, 1.2)),
            Bell(random.uniform(150, 3000), random.uniform(0.7, 3), random.uniform(-6, 6)),
        ),
        powers=(1.0, *powers),
        after=(Bell(random.uniform(200, 6000), random.uniform(0.7, 5), random.uniform(-8, 8)),),
        room=room,
    )


def of_curve(seed: int, place: str, levels_db: tuple[float, ...] = LEVELS_DB) -> Iterator[Readings]:
    """All levels of one curve in one room."""
    device, random = curve_in_room(seed, place), np.random.default_rng(seed + 100_000)
    pair = sweeps(10_500.0, RATE)
    for level_db in levels_db:
        gain = 10.0 ** (level_db / 20.0)

        def read(sweep: Sweep, gain: float = gain) -> SweepReadings:
            answer = device.answer(sweep.samples() * gain) / gain
            return read_sweep([recorded(answer, RATE, 10 ** (NOISE_DBFS / 20) / gain, random)], sweep, SETTINGS)

        long, short = map(read, pair)
        amplitude = gain * 10.0 ** (DRIVE_DBFS / 20.0)
        truth = {
            n: over_width(lambda hz, n=n, a=amplitude: device.steady_power(n, np.minimum(hz, RATE / 2), a), n)
            for n in range(1, 6)
        }
        found = sweep_harmonics(long, Reference(), short=short)
        yield from held_against(found, truth, place, HZ > 30.0)


def of_drivers(seed: int, count: int, volts: tuple[float, ...], *, lowest_hz: float = 27.0) -> Iterator[Readings]:
    """`count` moving-coil drivers at every voltage, alone and in a room of 0.3 to 0.5 s."""
    rate, random = moving_coil.RATE, np.random.default_rng(seed + 200_000)
    drivers = moving_coil.drivers(count, seed, volts)
    pair = sweeps(2600.0, rate)
    answers = [moving_coil.played_through(drivers, np.pad(sweep.samples(), (0, rate // 2))) for sweep in pair]
    rows = (lowest_hz < HZ) & (HZ < 600.0)
    tones_hz = HZ[(0.9 * lowest_hz < HZ) & (HZ < 670.0)]
    octave = np.floor(np.log2(tones_hz / tones_hz[0]))
    steady = np.concatenate(
        [
            moving_coil.steady_harmonics(drivers, tones_hz[octave == one], 10 ** (DRIVE_DBFS / 20))
            for one in np.unique(octave)
        ],
        axis=2,
    )
    for place in ("driver", "driver in a room"):
        for one in range(drivers.volts.size):
            room = np.ones(1)
            if place != "driver":
                room = noise_tail(
                    rt60_s=random.uniform(0.3, 0.5), direct_to_reverberant_db=random.uniform(-3, 8), seed=one, rate=rate
                )
            scale = 1.0 / np.median(steady[0, one])
            noise = 10 ** (random.uniform(-75, -55) / 20)
            long, short = (
                read_sweep(
                    [recorded(scale * scipy.signal.fftconvolve(answer[one], room), rate, noise, random)],
                    sweep,
                    SETTINGS,
                )
                for answer, sweep in zip(answers, pair, strict=True)
            )
            truth = {
                n: over_width(
                    lambda hz, n=n, one=one, room=room: _through(steady[n - 1, one], tones_hz, n, hz, room), n
                )
                for n in range(1, 6)
            }
            yield from held_against(sweep_harmonics(long, Reference(), short=short), truth, place, rows)


def _through(steady: np.ndarray, tones_hz: np.ndarray, order: int, at_hz: np.ndarray, room: np.ndarray) -> np.ndarray:
    """Power of an order about `at_hz`, by a spline through its levels at the tones, behind a room."""
    level = scipy.interpolate.CubicSpline(np.log(tones_hz), np.log(steady))
    n = 2**15
    heard = np.abs(scipy.fft.rfft(room, n))
    bins = np.arange(heard.size) * moving_coil.RATE / n
    tone_hz = np.clip(at_hz / order, tones_hz[0], tones_hz[-1])
    return np.square(np.exp(level(np.log(tone_hz))) * np.interp(at_hz, bins, heard))


def table(found: list[Readings], clear_db: float = 10.0) -> list[tuple[str, int, int, float, float, float]]:
    """Place, order, readings over `clear_db` above their noise, shares that both intervals hold, median half-width."""
    lines = []
    for place in dict.fromkeys(one.place for one in found):
        for order in range(2, 6):
            these = [one for one in found if (one.place, one.order) == (place, order)]
            lines.append((place, order, *_shares(these, clear_db)))
    lines.append(("all", 0, *_shares(found, clear_db)))
    return lines


def _shares(found: list[Readings], clear_db: float) -> tuple[int, float, float, float]:
    error, interval, of_noise, clear = (
        np.concatenate([getattr(one, name) for one in found])
        for name in ("error_db", "interval_db", "noise_uncertainty_db", "clear_db")
    )
    counts = clear > clear_db
    error, interval, of_noise = np.abs(error[counts]), interval[counts], of_noise[counts]
    return (
        int(error.size),
        float(np.mean(error <= interval)),
        float(np.mean(error <= of_noise)),
        float(np.median(interval)),
    )
