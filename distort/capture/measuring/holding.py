"""Each take is held against the quiet run and the level below before it is saved: its sidecar keeps what it said."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from distort.capture.measuring.kinds import loud
from distort.capture.measuring.playing_takes import Take
from distort.capture.measuring.quiet_run import QuietRun
from distort.capture.measuring.starting import Ready
from distort.capture.measuring.steps import Step
from distort.capture.measuring.third_octaves import LOUDER_DB, ThirdOctaves, fell_everywhere_db
from distort.errors import DeafError, StoppedError, TooLoudError
from distort.session.calibration.in_force import reference_of
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import SWEEP

FELL_DB = 3.0
"""By which no third octave falls as the drive rises. A limiter holds the output; what it gives less is under this."""


@dataclass(frozen=True, kw_only=True)
class Stop:
    """Why nothing is played after a take."""

    why: str
    """What it did, as the end of a sentence that begins with its name."""
    error: StoppedError
    """What is raised once it is saved."""


@dataclass(frozen=True, kw_only=True)
class Held:
    """What a take says."""

    answer: ThirdOctaves | None = None
    """Of a sweep of the ladder, not of what comes after it."""
    stop: Stop | None = None
    """None: the next may be played."""


def hold(
    quiet: QuietRun, plan: Plan, step: Step, take: Take, *, ready: Ready, lower: Mapping[float, ThirdOctaves]
) -> Held:
    """Whether `take` came out louder than foretold, or the microphone heard less of it than of the level below.

    lower   answers of the sweeps before it, by level

    Raises AnalysisError when it does not hold what was played.
    """
    what = f"{ready.choice.condition}/{step.name.stem}"
    reference = reference_of(ready.calibration.in_force(), plan.setup.distance_m)
    found, answer = loud(step.item.stimulus).held_against(quiet, step.item.stimulus, take, reference)
    if found is not None and found.by_db > LOUDER_DB:
        where = "" if found.at_hz is None else f" about {found.at_hz:.0f} Hz"
        why = f"came out {found.by_db:.1f} dB louder{where} than the quiet run foretold"
        error = TooLoudError(
            f"stopped: {what} {why}, and up to {LOUDER_DB:g} dB are allowed. It is kept, and nothing louder is played. "
            f"Look whether a volume or a gain was turned up or the loudspeaker expands; reject the recording before "
            f"you go on"
        )
        return Held(stop=Stop(why=why, error=error))
    if answer is None or step.name.stimulus != SWEEP or step.name.after:
        return Held()
    return Held(answer=answer, stop=_deaf(answer, {**lower, -math.inf: quiet.answer}, step, what=what))


def _deaf(answer: ThirdOctaves, lower: Mapping[float, ThirdOctaves], step: Step, *, what: str) -> Stop | None:
    """When every third octave fell although the drive rose: no limiter does that, a gain does."""
    below = max(level for level in lower if level < step.item.level_db_spl)
    fell_db = fell_everywhere_db(answer, lower[below])
    if fell_db is None or fell_db <= FELL_DB:
        return None
    where = "in the quiet run" if math.isinf(below) else "at the level below"
    why = f"gave {fell_db:.1f} dB less than {where}, or more, in every third octave, although the drive did not fall"
    error = DeafError(
        f"stopped: in {what} the microphone heard {fell_db:.1f} dB less than {where}, or more, in every third octave, "
        f"although the drive did not fall. It is kept, and nothing louder is played. Look at the microphone's "
        f"cable and gain, and whether the loudspeaker protects itself; reject the recording before you go on"
    )
    return Stop(why=why, error=error)
