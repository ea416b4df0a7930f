"""What the loudspeaker answered to a sweep, in third octaves: louder than expected, or standing still?"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.common.curves import Response
from distort.analysis.common.grid import band_edges_hz, midbands_hz
from distort.analysis.compression.operating_range import LIMITING_SLOPE
from distort.analysis.sweep.sweeps import Reference, Settings, SweepTake, read_sweep, sweep_response
from distort.capture.measuring.playing_takes import Take
from distort.recording.clocks import recorded_at_s
from distort.recording.reading import read_sweep_takes
from distort.recording.takes import reference_for
from distort.session.plan.kinds import SWEEP
from distort.session.recordings.stored import Recording
from signals import Sweep
from signals.levels import amplitude_to_db, db_to_amplitude, db_to_power, power_to_db

FloatArray = npt.NDArray[np.float64]

ANSWER_SETTINGS = Settings(orders=1, smoothing_octaves=1.0 / 6.0)

LOUDER_DB = 3.0
"""Twice the power. Seating, air and heat move a third octave by tenths of a decibel; a loudspeaker does not give more
than its drive asks, so what does is a gain that was turned, a wrong patch or an expander."""

READABLE_ABOVE_NOISE_DB = 15.0
"""Noise that much below a reading moves it by at most `20 log10(1 + 10^(-15/20))` = 1.4 dB, so that of two readings
neither is taken for one that is `LOUDER_DB` higher."""

STILL_RUNGS = 2
"""So many rungs in a row, each against the one below it."""


@dataclass(frozen=True, kw_only=True)
class ThirdOctaves:
    """The fundamental of one sweep in third octaves."""

    drive_dbfs: float
    midband_hz: FloatArray
    """`(bands,)`: exact mid-bands of IEC 61260-1, from the lowest that the sweep reads."""
    output_db_spl: FloatArray
    """`(bands,)`: power mean at 1 m, the microphone's response not taken out; NaN where it is not clear of noise."""
    noise_db: FloatArray
    """`(bands,)`: noise floor re that output."""

    @property
    def gain_db(self) -> FloatArray:
        """Output less drive."""
        return self.output_db_spl - self.drive_dbfs


@dataclass(frozen=True, kw_only=True)
class Louder:
    """By how much one answer is louder than another at equal drive, where it is most."""

    by_db: float
    at_hz: float | None = None
    """None: altogether."""


@dataclass(frozen=True, kw_only=True)
class Standstill:
    """The ladder ends at a level: an octave stood still there, and at the level below."""

    level_db_spl: float
    """The highest level that is worth recording."""
    octave_hz: float
    from_db_spl: float
    """The level from which on the output stood still."""
    rise_db: float
    """How far the output rose from there, dB."""
    drive_db: float
    """How far the drive did."""


def answer_of(response: Response, *, drive_dbfs: float) -> ThirdOctaves:
    """`response` in third octaves; a band counts from `response.lowest_valid_hz` on."""
    every = midbands_hz(bands_per_octave=3)
    low_hz, high_hz = band_edges_hz(every, bands_per_octave=3)
    kept, output_db, noise_db = [], [], []
    for middle, low, high in zip(every, low_hz, high_hz, strict=True):
        rows = (response.frequency_hz >= low) & (response.frequency_hz < high)
        if low < response.lowest_valid_hz or not np.any(rows):
            continue
        level = float(power_to_db(np.mean(db_to_power(response.level_db[rows]))))
        noise = float(power_to_db(np.mean(db_to_power(response.noise_db[rows])))) - level
        kept.append(middle)
        # What is not known to be noise is held against the rest: else nothing would stop what is too loud.
        output_db.append(np.nan if noise > -READABLE_ABOVE_NOISE_DB else level)
        noise_db.append(noise)
    return ThirdOctaves(
        drive_dbfs=drive_dbfs,
        midband_hz=np.array(kept),
        output_db_spl=np.array(output_db),
        noise_db=np.array(noise_db),
    )


def answer_of_take(take: Take, sweep: Sweep, reference: Reference) -> ThirdOctaves:
    """What a take that was just played says. Raises AnalysisError when it does not hold the whole sweep."""
    alignment = take.examined.alignment
    silences = tuple(take.samples[first:end] for first, end in alignment.silences.spans)
    held = SweepTake(samples=take.samples, start=alignment.stimulus_start, silences=silences)
    response = sweep_response(read_sweep([held], sweep, ANSWER_SETTINGS), reference)
    return answer_of(response, drive_dbfs=sweep.drive_dbfs)


def recorded_answers(recordings: Sequence[Recording]) -> dict[float, ThirdOctaves]:
    """The newest sweep of each level among `recordings`, from the lowest level up.

    Left out: rejected ones, repeats of the reference, and those whose level nobody knows, without a calibration or
    with a volume that was turned by an unknown amount. Raises as `read_sweep_takes` does.
    """
    newest: dict[float, Recording] = {}
    for one in sorted(recordings, key=recorded_at_s):
        sidecar = one.sidecar
        known = sidecar.calibration is not None and sidecar.turned_db is not None
        if sidecar.stimulus_name == SWEEP and not sidecar.after and sidecar.rejected is None and known:
            newest[sidecar.level_db_spl] = one
    return {level: answer_of_recording(one) for level, one in sorted(newest.items())}


def answer_of_recording(recording: Recording) -> ThirdOctaves:
    """What a recorded sweep says, in dBFS where it has no calibration; a volume of which nobody said how far it was
    turned counts as untouched. Raises as `read_sweep_takes` does."""
    response = sweep_response(read_sweep_takes([recording], ANSWER_SETTINGS), reference_for([recording]))
    drive_dbfs = recording.sidecar.drive_dbfs + (recording.sidecar.turned_db or 0.0)
    return answer_of(response, drive_dbfs=drive_dbfs)


def louder(answer: ThirdOctaves, reference: ThirdOctaves) -> Louder | None:
    """Where `answer` has most gain over `reference`; None where no band is clear of noise in both."""
    common, own, other = np.intersect1d(answer.midband_hz, reference.midband_hz, return_indices=True)
    gain_db = answer.gain_db[own] - reference.gain_db[other]
    if not np.any(np.isfinite(gain_db)):
        return None
    most = int(np.nanargmax(gain_db))
    return Louder(by_db=float(gain_db[most]), at_hz=float(common[most]))


def fell_everywhere_db(answer: ThirdOctaves, below: ThirdOctaves) -> float | None:
    """By how much the output fell from `below` to `answer` in every third octave that both read: the least of them, dB.

    What the drive itself fell is not counted; negative where a band rose. None where no band is clear of noise in both.
    """
    _, own, other = np.intersect1d(answer.midband_hz, below.midband_hz, return_indices=True)
    fell_db = below.output_db_spl[other] - answer.output_db_spl[own] - max(below.drive_dbfs - answer.drive_dbfs, 0.0)
    return float(np.nanmin(fell_db)) if np.any(np.isfinite(fell_db)) else None


def standstill(answers: dict[float, ThirdOctaves]) -> Standstill | None:
    """The lowest level at which an octave has stood still for two rungs in a row; None where none has.

    A rung stands still when the octave rises against the rung below by under 0.2 dB per dB of drive, whatever noise may
    have added to either. answers: by level, from the lowest up.
    """
    levels = sorted(answers)
    for last in range(STILL_RUNGS, len(levels)):
        rungs = [answers[level] for level in levels[last - STILL_RUNGS : last + 1]]
        outputs = [_octaves(rung) for rung in rungs]
        for octave_hz in sorted(set.intersection(*(set(one) for one in outputs))):
            here = [one[octave_hz] for one in outputs]
            if all(
                _still(low, high, upper.drive_dbfs - lower.drive_dbfs)
                for low, high, lower, upper in zip(here, here[1:], rungs, rungs[1:], strict=False)
            ):
                return Standstill(
                    level_db_spl=levels[last],
                    octave_hz=octave_hz,
                    from_db_spl=levels[last - STILL_RUNGS],
                    rise_db=here[-1][0] - here[0][0],
                    drive_db=rungs[-1].drive_dbfs - rungs[0].drive_dbfs,
                )
    return None


def _octaves(answer: ThirdOctaves) -> dict[float, tuple[float, float]]:
    """By mid-band of an octave: its output in dB SPL, and by how many dB noise may have moved that."""
    found = {}
    for middle in midbands_hz(bands_per_octave=1):
        low_hz, high_hz = band_edges_hz(middle, bands_per_octave=1)
        bands = (answer.midband_hz > low_hz) & (answer.midband_hz < high_hz)
        if np.sum(bands) == 3 and np.all(np.isfinite(answer.output_db_spl[bands])):
            output_db = float(power_to_db(np.mean(db_to_power(answer.output_db_spl[bands]))))
            moved_db = float(amplitude_to_db(1.0 + db_to_amplitude(np.max(answer.noise_db[bands]))))
            found[float(middle)] = output_db, moved_db
    return found


def _still(low: tuple[float, float], high: tuple[float, float], step_db: float) -> bool:
    return step_db > 0.0 and high[0] - low[0] + low[1] + high[1] < LIMITING_SLOPE * step_db
