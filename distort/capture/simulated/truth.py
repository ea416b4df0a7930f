"""What the simulated loudspeaker does to a steady tone: the truth against which an analysis is tested.

A whole number of periods goes through the same model as a stretch that repeats for ever; its spectrum is read at the
harmonics. No sweep, no window, no noise.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.capture.simulated.grid import PASS_SHARE, Grid
from distort.capture.simulated.levels import REFERENCE_PA
from distort.capture.simulated.loudspeaker import Loudspeaker, State
from distort.capture.simulated.parameters import Parameters
from distort.capture.simulated.path import path_response
from signals.errors import SignalError
from signals.levels import amplitude_to_db

FloatArray = npt.NDArray[np.float64]

TOLERANCE = 1e-10
"""Of the woofer's relaxation, re its range: far below any harmonic."""

STRETCH_S = 0.5
"""About the length of the stretch: long enough that its whole periods meet any frequency within 0.01 %."""


@dataclass(frozen=True, kw_only=True)
class SteadyTone:
    """Harmonics of a steady tone at the microphone."""

    frequency_hz: float
    """Of the tone, as played: a whole number of periods fits the stretch."""
    drive_dbfs: float
    level_db_spl: FloatArray
    """Level at the microphone of orders 1, 2, ..., `(orders,)`; NaN above the converters' band."""
    relative_db: FloatArray
    """Re the fundamental, `(orders,)`."""
    limiter_gain_db: float
    """Mean gain of the limiter."""


def steady_state_harmonics(
    frequency_hz: float,
    drive_dbfs: float,
    *,
    orders: int = 10,
    parameters: Parameters | None = None,
    state: State | None = None,
    condition: str = "stand",
    seed: int = 1,
    sample_rate: int = 48000,
    with_tail: bool = True,
) -> SteadyTone:
    """Harmonics 1 ... `orders` of a tone at `frequency_hz` and `drive_dbfs` r.m.s. (AES17), settled, without noise.

    The coils stay as warm as `state` says (default: cold). `with_tail` includes the room's reverberation as `seed`
    makes it. Raises SignalError when the tone lies outside the converters' band or beyond full scale, RecordingError
    when the woofer does not settle.
    """
    if not 0.0 < frequency_hz <= PASS_SHARE * sample_rate or not drive_dbfs <= 0.0:
        raise SignalError(f"no steady tone of {frequency_hz:g} Hz at {drive_dbfs:g} dBFS can be played here")
    table = Parameters() if parameters is None else parameters
    grid, periods = _whole_periods(frequency_hz, sample_rate)
    tone = 10.0 ** (drive_dbfs / 20.0) * np.sin(2.0 * np.pi * periods * np.arange(grid.n_samples) / grid.n_samples)
    sound = Loudspeaker(table, grid).play(
        grid.spectrum(tone), start=State() if state is None else state, settled=True, tolerance=TOLERANCE
    )
    path = path_response(grid, table.room, condition=condition, seed=seed, delay_s=0.0, with_tail=with_tail)
    heard = sound.pressure * path
    level = np.full(orders, np.nan)
    readable = min(orders, int(PASS_SHARE * grid.n_samples) // periods)
    bins = periods * np.arange(1, readable + 1)
    level[:readable] = amplitude_to_db(np.abs(heard[bins]) * (np.sqrt(2.0) / grid.n_samples / REFERENCE_PA))
    return SteadyTone(
        frequency_hz=periods * sample_rate / grid.n_samples,
        drive_dbfs=drive_dbfs,
        level_db_spl=level,
        relative_db=level - level[0],
        limiter_gain_db=float(np.mean(amplitude_to_db(sound.limiter_gain))),
    )


def _whole_periods(frequency_hz: float, sample_rate: int) -> tuple[Grid, int]:
    """A grid of about `STRETCH_S` and the number of periods in it that meet `frequency_hz` best."""
    step = 2 * Grid.decimation(sample_rate)
    least = max(1, math.ceil(STRETCH_S * frequency_hz))
    best: tuple[float, int, int] = (math.inf, 0, 0)
    for periods in range(least, least + 40):
        steps = round(periods * sample_rate / (frequency_hz * step))
        miss = abs(periods * sample_rate / (steps * step) / frequency_hz - 1.0)
        best = min(best, (miss, periods, steps))
    return Grid(best[2] * step, sample_rate), best[1]
