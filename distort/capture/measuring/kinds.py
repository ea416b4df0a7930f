"""What playing loud must know of each kind of stimulus: one entry a kind."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.analysis.sweep.sweeps import Reference
from distort.capture.measuring import loud_burst, loud_frames, loud_multitone, loud_programme, loud_sweep
from distort.capture.measuring.playing_takes import Take
from distort.capture.measuring.quiet_run import QuietRun
from distort.capture.measuring.third_octaves import Louder, ThirdOctaves
from distort.session.plan.keys import Plan
from signals import Stimulus, kind_of

FloatArray = npt.NDArray[np.float64]


def _unjudged(
    quiet: QuietRun, stimulus: Stimulus, take: Take, reference: Reference
) -> tuple[Louder | None, ThirdOctaves | None]:
    return None, None


def _as_a_sine(quiet: QuietRun, stimulus: Stimulus) -> float:
    return 0.0


def _ceiling(plan: Plan) -> float:
    return plan.safety.ceiling_db_spl


def _shortest(stimulus: Stimulus) -> float:
    return 0.0


@dataclass(frozen=True, kw_only=True)
class LoudKind:
    """What a kind of stimulus does at the microphone's input; the functions are given the stimulus."""

    expected_rms_dbfs: Callable[[QuietRun, Any], float] = loud_sweep.loudest_dbfs
    """r.m.s. of its loudest stretch at the input, dBFS, as the quiet run foretells it."""
    ceiling_db_spl: Callable[[Plan], float] = _ceiling
    """SPL at 1 m that nothing of it may pass."""
    crest_db: Callable[[QuietRun, Any], float] = _as_a_sine
    """Peak at the microphone over that of a sine of this r.m.s."""
    stretch_s: Callable[[Any], float] = _shortest
    """Length of a stretch in which a peak must be heard, if more than the usual one."""
    peaks: Callable[[QuietRun, Any, FloatArray], FloatArray] | None = None
    """Peak expected at each of some moments, seconds after its first sample; None: the same all the time."""
    held_against: Callable[[QuietRun, Any, Take, Reference], tuple[Louder | None, ThirdOctaves | None]] = _unjudged
    """By how much a take is louder than the quiet run foretells, where that can be told, and its answer in third
    octaves, where it gives one."""


def loud(stimulus: Stimulus) -> LoudKind:
    """The entry of `stimulus`."""
    return LOUD[kind_of(stimulus)]


_SWEEP = LoudKind(stretch_s=loud_sweep.stretch_s, peaks=loud_sweep.peaks, held_against=loud_sweep.held_against)

_PROGRAMME = LoudKind(
    expected_rms_dbfs=loud_programme.expected_rms_dbfs,
    crest_db=loud_programme.crest_db,
    peaks=loud_programme.peaks,
    held_against=loud_programme.held_against,
)

LOUD: dict[str, LoudKind] = {
    "sweep": _SWEEP,
    "sampled-sweep": _SWEEP,
    "multitone": LoudKind(
        expected_rms_dbfs=loud_multitone.expected_rms_dbfs,
        crest_db=loud_multitone.crest_db,
        held_against=loud_multitone.held_against,
    ),
    "burst-series": LoudKind(
        expected_rms_dbfs=loud_burst.expected_rms_dbfs,
        ceiling_db_spl=loud_burst.ceiling_db_spl,
        peaks=loud_burst.peaks,
        held_against=loud_burst.held_against,
    ),
    "frames": LoudKind(
        expected_rms_dbfs=loud_frames.expected_rms_dbfs,
        peaks=loud_frames.peaks,
        held_against=loud_frames.held_against,
    ),
    "programme": _PROGRAMME,
    "sampled-programme": _PROGRAMME,
}
"""By the name in `signals.stimulus.KINDS`; a kind without an entry is not played loud."""
