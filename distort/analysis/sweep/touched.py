"""Which readings of an order hold something that is not of that order: what sounded at a time, or a line that
crosses."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from distort.analysis.common.caution import CLEAR_OF_NOISE_DB
from distort.analysis.common.curves import Harmonics
from distort.analysis.common.grid import grid_hz
from distort.analysis.sweep.events import LEAST_FREEDOM, Overheard, Sound
from distort.analysis.sweep.plane import HOP_S, Plane
from distort.analysis.sweep.readings import Reading
from distort.analysis.sweep.windows import order_window
from signals.levels import FULL_SCALE_SINE_RMS, db_to_power, power_to_db

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Touched:
    """A stretch of an order's curve, by the frequency of the excitation, to be used with caution; order 1 is the
    fundamental."""

    order: int
    low_hz: float
    high_hz: float


@dataclass(frozen=True, kw_only=True)
class EventInTime:
    """Something that sounded while a sweep was recorded and that the loudspeaker did not make."""

    start_s: float
    end_s: float
    """Seconds in the recording."""
    low_hz: float
    high_hz: float
    """Where the sweep was meanwhile."""
    level_dbfs: float
    """Of its loudest moment, as far as it stands out (AES17)."""
    touched: tuple[Touched, ...]


def events_in_time(
    heard: Overheard, sounds: Sequence[Sound], readings: Sequence[Reading], *, takes: int = 1
) -> tuple[EventInTime, ...]:
    """The sounds of one recording, and what of the readings of orders 1 ... N they touch.

    readings   on the grid, of the mean of so many `takes`, in which the power of one falls with their number squared
    """
    return tuple(_event(heard, sound, readings, takes=takes) for sound in sounds)


def with_touched(harmonics: Harmonics, touched: Iterable[Touched]) -> Harmonics:
    """The harmonics with what is touched among what is to be used with caution."""
    marks: dict[int, BoolArray] = {}
    frequency_hz = harmonics.frequency_hz
    for one in touched:
        within = (frequency_hz >= one.low_hz * (1.0 - ROUNDED)) & (frequency_hz <= one.high_hz * (1.0 + ROUNDED))
        marks[one.order] = marks.get(one.order, np.zeros(frequency_hz.size, dtype=np.bool_)) | within
    orders = tuple(
        replace(order, doubtful=order.doubtful | marks[order.order]) if order.order in marks else order
        for order in harmonics.orders
    )
    return replace(harmonics, orders=orders) if marks else harmonics


SHARP_HZ = 1000.0
"""From here on a band of the plane knows within 50 ms when something sounded; below, a bin is too wide."""

ROUNDED = 1e-4
"""Rows of the grid are 3 % apart, and written with four decimals."""


def _event(heard: Overheard, sound: Sound, readings: Sequence[Reading], *, takes: int) -> EventInTime:
    plane = heard.plane
    width_hz = np.gradient(plane.frequency_hz)
    loudest = float(np.max(np.sum(sound.excess * width_hz, axis=1)))
    quick = np.any(sound.excess[:, plane.frequency_hz > SHARP_HZ] > 0.0, axis=1)
    heard_at = np.flatnonzero(quick if np.any(quick) else np.any(sound.excess > 0.0, axis=1)) + sound.first
    first, last = int(heard_at[0]), int(heard_at[-1])
    return EventInTime(
        start_s=heard.start_s + float(plane.time_s[first]),
        end_s=heard.start_s + float(plane.time_s[last]) + HOP_S,
        low_hz=float(plane.sweep_hz[first]),
        high_hz=float(plane.sweep_hz[last]),
        level_dbfs=float(power_to_db(loudest / FULL_SCALE_SINE_RMS**2)),
        touched=tuple(
            Touched(order=order, low_hz=low_hz, high_hz=high_hz)
            for order, reading in enumerate(readings, start=1)
            for low_hz, high_hz in row_stretches(near(added_power(plane, sound, order=order) / takes**2, reading))
        ),
    )


def near(added: FloatArray, reading: Reading) -> BoolArray:
    """Rows of the grid in which the reading is not clear of a power that something else adds, `(rows,)`."""
    with np.errstate(invalid="ignore"):
        return np.asarray(added > reading.power / float(db_to_power(CLEAR_OF_NOISE_DB)))


def added_power(plane: Plane, sound: Sound, *, order: int) -> FloatArray:
    """Power that the sound puts into the readings of an order, on the grid: noise of that density would put in
    `density x gain x sum of the squared window`, over the moments at which the window is open."""
    excitation_hz = grid_hz()
    window = order_window(plane.sweep, order)
    since_s = plane.time_s[sound.moments, np.newaxis] - plane.sweep.time_s(excitation_hz)
    own_hz = np.log(order * excitation_hz)
    band_hz = np.log(plane.frequency_hz)
    density = np.zeros_like(since_s)
    for place, (excess, freedom) in enumerate(zip(sound.excess, plane.freedom[sound.moments], strict=True)):
        known = freedom >= LEAST_FREEDOM
        if np.any(known):
            density[place] = np.interp(own_hz, band_hz[known], excess[known], left=0.0, right=0.0)
    gain = np.interp(own_hz, band_hz, plane.gain)
    energy = np.square(window.at(since_s)) * (HOP_S * plane.sweep.sample_rate)
    return np.asarray(gain * np.sum(density * energy, axis=0))


def row_stretches(rows: BoolArray) -> list[tuple[float, float]]:
    """Lowest and highest row of each stretch, Hz."""
    frequency_hz = grid_hz()
    on = np.flatnonzero(rows)
    if on.size == 0:
        return []
    parts = np.split(on, np.flatnonzero(np.diff(on) > 1) + 1)
    return [(float(frequency_hz[part[0]]), float(frequency_hz[part[-1]])) for part in parts]
