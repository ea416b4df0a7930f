"""Multitones and music, synthesised from the sweeps of a known loudspeaker, against the same simulated directly.

Sweeps of five drives, 5 dB apart; multitones and the project's piece of music between them, the music upright and
upside down, so that even products (what both have in common) stand apart from odd ones. No noise: what is seen is how
far the synthesis is a likeness.
"""

from dataclasses import dataclass, replace

import numpy as np

from distort.analysis.heard import third_octave_powers
from distort.analysis.multitone.powers import band_of_bins, filled, free_bins
from distort.analysis.sweep.deconvolution import deconvolve
from distort.analysis.sweep.orders import separate
from distort.analysis.synthesis.choosing import Heard, best_form, misfit_db
from distort.analysis.synthesis.finer import finer_form
from distort.analysis.synthesis.kernels import ORDERS, Step, kernels_at, step_of
from distort.analysis.synthesis.predicted import MOST_EVEN_DB
from distort.analysis.synthesis.products import Played
from distort.analysis.synthesis.programme import synthesise
from distort.analysis.synthesis.ways import Form, ways_of
from signals import Multitone, Sweep
from signals.burst import third_octaves_hz
from signals.levels import power_to_db
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


def misfits(heard: Simulated) -> dict[float, tuple[float, float]]:
    """r.m.s. misfit of even and odd bands, dB, by drive; the form is chosen at the lowest."""
    form = form_of(heard)
    return {drive: misfit_of(heard, drive, form) for drive in sorted(heard.multitones)}


def misfit_of(heard: Simulated, drive_dbfs: float, form: Form) -> tuple[float, float]:
    """The same of one drive and a form."""
    played = played_at(heard, drive_dbfs)
    measured = bands_heard(played.tone, heard.multitones[drive_dbfs])
    made = sum(
        played.product(one, form.structure(number, one.order), way)
        for number, way in enumerate(ways_of(kernels_at(heard.steps, drive_dbfs), form.crossover_hz))
        for one in way.kernels
    )
    even, odd = played.even_db(made), played.odd_db(made)
    return misfit_db(measured.even_db, even), misfit_db(measured.odd_db, odd)


def played_at(heard: Simulated, drive_dbfs: float) -> Played:
    nearest = min(heard.steps, key=lambda step: abs(step.drive_dbfs - drive_dbfs))
    return Played(tone=replace(TONE, drive_dbfs=drive_dbfs), path=nearest.response.power)


def form_of(heard: Simulated) -> Form:
    """Chosen at the lowest drive of the multitones."""
    drive = min(heard.multitones)
    played = played_at(heard, drive)
    at, measured = kernels_at(heard.steps, drive), bands_heard(played.tone, heard.multitones[drive])
    form = best_form(played, at, measured)
    if misfit_of(heard, drive, form)[0] <= MOST_EVEN_DB:
        return form
    return finer_form(played, at, measured, form) or form


def music_misfit(heard: Simulated, drive_dbfs: float) -> float:
    """r.m.s. misfit of what the music's even products are in third octaves from 63 Hz to 10 kHz, dB."""
    piece, form = replace(PIECE, drive_dbfs=drive_dbfs).samples(), form_of(heard)
    both = [synthesise(one, RATE, steps=heard.steps, form=form).distortion for one in (piece, -piece)]
    truth = 0.5 * (heard.upright[drive_dbfs] + heard.upside_down[drive_dbfs])
    size, bands_hz = min(both[0].size, truth.size), np.array(third_octaves_hz(56.0, 11000.0))
    made_db, true_db = (
        power_to_db(third_octave_powers(one[:size], RATE, bands_hz)) for one in (0.5 * (both[0] + both[1]), truth)
    )
    return float(np.sqrt(np.mean(np.square(made_db - true_db))))


def bands_heard(tone: Multitone, row: np.ndarray) -> Heard:
    """Even and odd of one period re its tones, dB, third octaves from 63 Hz to 10 kHz."""
    power = 0.5 * np.abs(np.fft.rfft(row) * 2.0 / row.size) ** 2
    midbands, band = band_of_bins(tone)
    odd = np.arange(band.size) % 2 == 1

    def summed(values: np.ndarray, where: np.ndarray) -> np.ndarray:
        both = where & (band >= 0)
        return np.bincount(band[both], weights=values[both], minlength=midbands.size)

    lines = summed(power, ~free_bins(tone))
    lines = np.where((lines > 0.0) & (midbands > 62.0) & (midbands < 10100.0), lines, np.nan)
    even = summed(power, ~odd & free_bins(tone))
    return Heard(even_db=power_to_db(even / lines), odd_db=power_to_db(summed(filled(power, tone), odd) / lines))
