"""Every recording that the plan asks for, in the order of the ladder, and which of them are still to be made."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from distort.capture.measuring.exposure import permitted_hours, sounding_s
from distort.errors import UsageError, did_you_mean, shown
from distort.recording.clocks import REST_BEFORE_DRIFT_S
from distort.session.files.folder import SessionFolder
from distort.session.files.names import RecordingName
from distort.session.plan.keys import Plan
from distort.session.recordings.stimulus_files import Planned, planned
from signals.levels import FULL_SCALE_SINE_RMS, amplitude_to_db


@dataclass(frozen=True, kw_only=True)
class Step:
    """One recording that the plan asks for."""

    item: Planned
    name: RecordingName
    rest_s: float
    """How long the loudspeaker rests before it."""


def steps(plan: Plan, items: tuple[Planned, ...]) -> tuple[Step, ...]:
    """Every recording of one condition in the order of the ladder: levels rising, takes, then the reference again.

    The reference is repeated at once, which shows what is still hot, and once more after a rest, which shows what has
    drifted meanwhile.
    """
    takes = range(1, plan.levels.takes + 1)
    ladder = [_step(item, take=take, after=False, rest_s=plan.levels.rest_s) for item in items for take in takes]
    if not plan.levels.repeat_reference:
        return tuple(ladder)
    rested_s = max(plan.levels.rest_s, REST_BEFORE_DRIFT_S)
    at_once = _step(items[0], take=1, after=True, rest_s=0.0)
    return (*ladder, at_once, _step(items[0], take=2, after=True, rest_s=rested_s))


def _step(item: Planned, *, take: int, after: bool, rest_s: float) -> Step:
    name = RecordingName(stimulus=item.stimulus_name, level_db_spl=item.level_db_spl, take=take, after=after)
    return Step(item=item, name=name, rest_s=rest_s)


def remaining(
    folder: SessionFolder,
    plan: Plan,
    drives: Mapping[float, float],
    *,
    condition: str,
    only: str | None = None,
    again: bool = False,
) -> tuple[Step, ...]:
    """What `measure` would record now. Raises UsageError for an `only` that the plan does not have."""
    return _wanted(folder, steps(plan, planned(plan, drives)), condition, only=only, again=again)


def _wanted(
    folder: SessionFolder, every: tuple[Step, ...], condition: str, *, only: str | None, again: bool
) -> tuple[Step, ...]:
    if only is not None:
        chosen = tuple(
            step for step in every if only == step.name.stem or (only == step.item.stem and not step.name.after)
        )
        if not chosen:
            known = [step.name.stem for step in every]
            raise UsageError(f"the plan has no {shown(only)}{did_you_mean(only, known)}: it has {', '.join(known)}")
        every = chosen
    if again:
        one_of_each = {replace(step.name, take=1): step for step in reversed(every)}  # the first of its takes
        return tuple(
            replace(step, name=folder.next_take(condition, step.name)) for step in reversed(one_of_each.values())
        )
    there = {files.name for files in folder.recordings(condition)}
    return tuple(step for step in every if step.name not in there)


@dataclass(frozen=True, kw_only=True)
class LevelPlanned:
    """What will be played at one level."""

    level_db_spl: float
    drive_dbfs: float
    peak_dbfs: float
    recordings: int
    seconds: float
    """Of sound and the silences around it, without rests."""
    sounding_s: float
    """Of the stimuli alone."""
    energy_s: float
    """What the loudspeaker is fed: seconds of a sine of full scale that have the same energy."""

    @property
    def permitted_hours(self) -> float:
        """Hours a day at this level."""
        return permitted_hours(self.level_db_spl)


def planned_levels(steps: Sequence[Step]) -> tuple[LevelPlanned, ...]:
    """What `steps` play at each level, from the lowest level up."""
    found = []
    for level in sorted({step.item.level_db_spl for step in steps}):
        here = [step for step in steps if step.item.level_db_spl == level]
        distinct = {step.item.stem: step.item.reel for step in here}
        samples = {stem: reel.samples() for stem, reel in distinct.items()}
        energy_s = {
            stem: float(np.sum(np.square(one))) / distinct[stem].sample_rate / FULL_SCALE_SINE_RMS**2
            for stem, one in samples.items()
        }
        found.append(
            LevelPlanned(
                level_db_spl=level,
                drive_dbfs=here[0].item.stimulus.drive_dbfs,
                peak_dbfs=float(amplitude_to_db(max(np.max(np.abs(one)) for one in samples.values()))),
                recordings=len(here),
                seconds=sum(distinct[step.item.stem].n_samples / step.item.reel.sample_rate for step in here),
                sounding_s=sum(sounding_s(step.item.stimulus) for step in here),
                energy_s=sum(energy_s[step.item.stem] for step in here),
            )
        )
    return tuple(found)
