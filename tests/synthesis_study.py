"""Multitones and music, synthesised from the sweeps of a known loudspeaker, against the same simulated directly.

Sweeps of five drives, 5 dB apart; multitones and the project's piece of music between them, the music upright and
upside down, so that even products (what both have in common) stand apart from odd ones. No noise: what is seen is how
far the synthesis is a likeness.
"""

from dataclasses import dataclass, replace

import numpy as np

from distort.analysis.sweep.deconvolution import deconvolve
from distort.analysis.sweep.orders import separate
from distort.analysis.synthesis.kernels import ORDERS, Step, step_of
from signals import Multitone, Sweep
from signals.programme import Programme
from tests.devices.physical import RATE, Physical, answers

DRIVES_DBFS = (-20.0, -15.0, -10.0, -5.0, 0.0)
TONES_DBFS = (-22.0, -17.0, -12.0)
SWEEP = Sweep(seconds=4.0)
TONE = Multitone(period_s=1.0, settling_periods=1, periods=1)
PIECE = Programme(seconds=4.0)
QUIET_DBFS = -60.0
"""Of the music when everything is linear."""
LOUD_DBFS = (-25.0, -20.0, -15.0)
START, TAIL = 2400, 16800
ALL_ROWS = np.ones(241, dtype=bool)


@dataclass(frozen=True, kw_only=True)
class Simulated:
    """What a loudspeaker answers, noiseless."""

    steps: tuple[Step, ...]
    multitones: dict[float, np.ndarray]
    """One period each, by drive."""
    upright: dict[float, np.ndarray]
    upside_down: dict[float, np.ndarray]
    quiet: np.ndarray
    """The music at QUIET_DBFS."""
    moved_m: float


def simulated(model: Physical) -> Simulated:
    """All of it, side by side."""
    sweeps = [replace(SWEEP, drive_dbfs=drive) for drive in DRIVES_DBFS]
    tones = [replace(TONE, drive_dbfs=drive) for drive in TONES_DBFS]
    pieces = [replace(PIECE, drive_dbfs=drive).samples() for drive in LOUD_DBFS]
    played = [
        *(one.samples() for one in sweeps),
        *(np.tile(one.period(), 2) for one in tones),
        *pieces,
        *(-one for one in pieces),
        replace(PIECE, drive_dbfs=QUIET_DBFS).samples(),
    ]
    rows = np.array([np.pad(one, (START, START + SWEEP.n_samples + TAIL - one.size - START)) for one in played])
    heard, moved = answers(model, rows)
    steps = tuple(
        step_of(
            separate(deconvolve(row, sweep, start=float(START), orders=6), orders=6),
            turned_db=0.0,
            readable=dict.fromkeys(ORDERS, ALL_ROWS),
        )
        for row, sweep in zip(heard, sweeps, strict=False)
    )
    after = heard[len(sweeps) :]
    second = slice(START + RATE, START + 2 * RATE)
    music = after[len(tones) :, START:]
    count = len(pieces)
    return Simulated(
        steps=steps,
        multitones={one.drive_dbfs: row[second] for one, row in zip(tones, after, strict=False)},
        upright=dict(zip(LOUD_DBFS, music[:count], strict=True)),
        upside_down=dict(zip(LOUD_DBFS, music[count : 2 * count], strict=True)),
        quiet=music[2 * count],
        moved_m=float(np.max(moved)),
    )
