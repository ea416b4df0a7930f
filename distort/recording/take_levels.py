"""Whether the takes of one level are as loud as one another, before they are averaged."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.recording.alignment.prepared import prepare
from distort.recording.takes import Takes, reference_for, set_ups_of_each_level
from distort.session.recordings.stored import Recording
from distort.session.results.unlike_takes import UnlikeTakes
from signals.levels import amplitude_to_db, power_to_db

FloatArray = npt.NDArray[np.float64]

UNLIKE_DB = 1.0
"""Besides noise. Heat, air and a microphone put back move the mean of some octaves by tenths of a decibel, and no
player's step between two levels is smaller (own choice: less would ask about heat, more would miss steps of 1.5 dB)."""

LEAST_POWER = 1e-30
"""Full scale 1: below the noise of every converter; keeps a recording of nothing a number."""


@dataclass(frozen=True, kw_only=True)
class TakeLevel:
    """How loud one take was in a band."""

    level_db: float
    """Mean power while the stimulus played, noise taken off, less drive and turned volume, so that takes compare."""
    moved_db: float
    """By how much noise that adds in phase may have moved it; 0 where no silence tells the noise."""


def unlike_takes(recordings: Iterable[Recording], band_hz: tuple[float, float]) -> tuple[UnlikeTakes, ...]:
    """Levels of which two takes of one set-up differ in `band_hz` by more than their noise and 1 dB, any stimulus.

    recordings   all of a condition; rejected ones and repeats of the reference are no takes of a level

    Raises as `prepare` does.
    """
    every = tuple(recordings)
    names = dict.fromkeys(one.sidecar.stimulus_name for one in every)
    set_ups = (takes for name in names for parts in set_ups_of_each_level(every, name).values() for takes in parts)
    of_one = (alike for takes in set_ups for alike in _of_one_length(takes))
    return tuple(found for takes in of_one if (found := unlike(takes, band_hz)) is not None)


def _of_one_length(takes: Takes) -> list[list[Recording]]:
    """Takes that play as long as one another together: bursts may be played again at a level with fewer bands."""
    found: dict[int, list[Recording]] = {}
    for one in takes:
        found.setdefault(one.sidecar.stimulus.n_samples, []).append(one)
    return list(found.values())


def unlike(takes: Takes, band_hz: tuple[float, float]) -> UnlikeTakes | None:
    """The two takes that differ most, where they differ by more than their noise and 1 dB. Raises as `prepare` does."""
    if len(takes) < 2 or len({one.sidecar.calibration is None for one in takes}) > 1:
        return None  # of a level in dB SPL and one in dBFS, `require_one_unit` tells what to do
    levels = [level_of_take(one, band_hz) for one in takes]
    order = sorted(range(len(takes)), key=lambda index: levels[index].level_db)
    low, high = order[0], order[-1]
    difference_db = levels[high].level_db - levels[low].level_db
    if difference_db <= UNLIKE_DB + levels[low].moved_db + levels[high].moved_db:
        return None
    first = takes[0].sidecar
    return UnlikeTakes(
        condition=first.condition,
        stimulus_name=first.stimulus_name,
        level_db_spl=first.level_db_spl,
        takes=tuple(sorted(takes[index].sidecar.take for index in (low, high))),
        difference_db=difference_db,
        made_elsewhere=all(one.sidecar.made_elsewhere for one in takes),
    )


def level_of_take(recording: Recording, band_hz: tuple[float, float]) -> TakeLevel:
    """How loud `recording` was in `band_hz`. Raises as `prepare` does."""
    sidecar, prepared = recording.sidecar, prepare(recording)
    rate, first = sidecar.stimulus.sample_rate, int(prepared.start)
    played = prepared.samples[first : first + sidecar.stimulus.n_samples]
    noise = _mean_power(prepared.silences, rate, band_hz)
    heard = max(_mean_power([played], rate, band_hz) - noise, LEAST_POWER)
    driven_db = sidecar.drive_dbfs + (sidecar.turned_db or 0.0)
    return TakeLevel(
        level_db=float(power_to_db(heard)) + reference_for([recording]).offset_db - driven_db,
        moved_db=float(amplitude_to_db(1.0 + np.sqrt(noise / heard))),
    )


def _mean_power(stretches: Sequence[FloatArray], rate: int, band_hz: tuple[float, float]) -> float:
    """Mean square of what lies in `band_hz` over all of the stretches, by Parseval; 0 where there are none."""
    total, samples = 0.0, 0
    for stretch in stretches:
        spectrum = scipy.fft.rfft(stretch)
        bins_hz = scipy.fft.rfftfreq(stretch.size, 1.0 / rate)
        inside = (bins_hz >= band_hz[0]) & (bins_hz <= band_hz[1])
        total += 2.0 * float(np.sum(np.square(np.abs(spectrum[inside])))) / stretch.size
        samples += stretch.size
    return total / samples if samples else 0.0
