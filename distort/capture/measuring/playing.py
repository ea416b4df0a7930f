"""Plays the ladder of levels and records it, stimulus by stimulus; what is recorded already is left alone."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from distort.capture.devices.device import Device
from distort.capture.devices.guard import Guard
from distort.capture.measuring.expected import highest_peak
from distort.capture.measuring.kinds import loud
from distort.capture.measuring.least_heard import least_heard
from distort.capture.measuring.playing_takes import Take, play_and_examine, save_loopback
from distort.capture.measuring.quiet_run import QuietRun
from distort.capture.measuring.starting import Choice, Ready, get_ready, up_to
from distort.capture.measuring.steps import Step
from distort.capture.measuring.third_octaves import (
    LOUDER_DB,
    Standstill,
    ThirdOctaves,
    fell_everywhere_db,
    standstill,
)
from distort.errors import DeafError, RecordingError, TooLoudError
from distort.session.calibration.calibration_file import MicrophoneCalibration
from distort.session.calibration.in_force import reference_of
from distort.session.files.folder import SessionFolder
from distort.session.files.moments import iso_utc
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import SWEEP
from distort.session.recordings.sidecar import Sidecar, StimulusSidecar
from distort.session.recordings.stimulus_files import write_stimulus
from distort.session.recordings.stored import Recording, save_recording

FELL_DB = 3.0
"""By which no third octave falls as the drive rises. A limiter holds the output; what it gives less is under this."""

Progress = Callable[[str, int, int], None]
"""Told what is being done, how many steps of it are done, and how many there are."""


@dataclass(frozen=True, kw_only=True)
class Measured:
    """What was recorded now."""

    recordings: tuple[Recording, ...]
    ended: Standstill | None
    """Why levels of the plan were left out; None where none was."""


def measure(folder: SessionFolder, plan: Plan, device: Device, choice: Choice, *, progress: Progress) -> Measured:
    """`get_ready` and `play` in one. Raises what they raise."""
    return play(folder, plan, device, get_ready(folder, plan, device, choice), progress=progress)


def play(folder: SessionFolder, plan: Plan, device: Device, ready: Ready, *, progress: Progress) -> Measured:
    """Record the steps for which `ready` stands, levels rising.

    Each recording is held against the quiet run before the next step. The ladder ends where the loudspeaker stands
    still; what comes after the ladder is recorded all the same.

    Raises RecordingError when a take is no good twice, TooLoudError when the loudspeaker gives over 3 dB more than
    expected, DeafError when the microphone hears nothing of it or far less than at a lower level, PausedError when the
    computer paused. What was recorded until then is kept.
    """
    plan = plan.of(ready.choice.condition)
    if ready.quiet is None:
        return Measured(recordings=(), ended=ready.ended)
    recorded: list[Recording] = []
    waiting, answers, ended = list(ready.steps), dict(ready.answers), ready.ended
    set_up: set[str] = set()
    while waiting:
        step = waiting.pop(0)
        done = len(recorded)
        progress(f"recording {ready.choice.condition}/{step.name.stem}", done, done + 1 + len(waiting))
        if done:
            device.rest(step.rest_s)
        anew = ready.choice.repositioned and step.item.stem not in set_up
        set_up.add(step.item.stem)
        rested_s = step.rest_s if done else None
        recording, take = record_step(folder, plan, device, step, ready=ready, rested_s=rested_s, repositioned=anew)
        recorded.append(recording)
        answer = held_against_quiet(ready.quiet, plan, step, take, ready=ready)
        if answer is not None and step.name.stimulus == SWEEP and not step.name.after:
            _require_hearing(answer, {**answers, -math.inf: ready.quiet.answer}, step, ready=ready)
            answers[step.item.level_db_spl] = answer
        still = None if ready.choice.past_limiting else standstill(answers)
        within = up_to(waiting, still)
        if len(within) < len(waiting):
            waiting, ended = list(within), still
    return Measured(recordings=tuple(recorded), ended=ended)


def held_against_quiet(quiet: QuietRun, plan: Plan, step: Step, take: Take, *, ready: Ready) -> ThirdOctaves | None:
    """What its third octaves answered, where it tells. Raises TooLoudError when it is louder than expected."""
    stimulus = step.item.stimulus
    what = f"{ready.choice.condition}/{step.name.stem}"
    reference = reference_of(ready.calibration.in_force(), plan.setup.distance_m)
    found, answer = loud(stimulus).held_against(quiet, stimulus, take, reference)
    if found is not None and found.by_db > LOUDER_DB:
        where = "" if found.at_hz is None else f" about {found.at_hz:.0f} Hz"
        raise TooLoudError(
            f"stopped: {what} came out {found.by_db:.1f} dB louder{where} than the quiet run foretold, and up to "
            f"{LOUDER_DB:g} dB are allowed. It is kept, and nothing louder is played. Look whether a volume or a gain "
            f"was turned up or the loudspeaker expands; reject the recording before you go on"
        )
    return answer


def _require_hearing(answer: ThirdOctaves, lower: Mapping[float, ThirdOctaves], step: Step, *, ready: Ready) -> None:
    """Raises DeafError when every third octave fell although the drive rose: no limiter does that, a gain does."""
    below = max(level for level in lower if level < step.item.level_db_spl)
    fell_db = fell_everywhere_db(answer, lower[below])
    if fell_db is not None and fell_db > FELL_DB:
        raise DeafError(
            f"stopped: in {ready.choice.condition}/{step.name.stem} the microphone heard {fell_db:.1f} dB less than "
            f"{'in the quiet run' if math.isinf(below) else 'at the level below'}, or more, in every third octave, "
            f"although the drive did not fall. It is kept, and nothing louder is played. Look at the microphone's "
            f"cable and gain, and whether the loudspeaker protects itself; reject the recording before you go on"
        )


def record_step(
    folder: SessionFolder,
    plan: Plan,
    device: Device,
    step: Step,
    *,
    ready: Ready,
    rested_s: float | None,
    repositioned: bool,
) -> tuple[Recording, Take]:
    """Play and record one step; a take that is no good is repeated once."""
    stimulus = write_stimulus(folder, step.item)
    reel, condition = step.item.reel, ready.choice.condition
    what = f"{condition}/{step.name.stem}"
    microphone = plan.hears_a_room(condition)
    guard = None
    if ready.quiet is not None:
        highest = highest_peak(ready.quiet, plan, step.item)
        guard = Guard(highest=highest, expected=least_heard(ready.quiet, step.item))
    try:
        take = play_and_examine(device, reel, what=what, guard=guard, microphone=microphone)
    except RecordingError:
        rested_s = plan.levels.rest_s
        device.rest(rested_s)
        take = play_and_examine(device, reel, what=what, guard=guard, microphone=microphone)
    sidecar = _sidecar(plan, device, step, stimulus, take=take, condition=condition, calibration=ready.calibration)
    save_loopback(folder, take, condition=condition, name=step.name, rate=reel.sample_rate)
    return save_recording(folder, take.samples, replace(sidecar, rest_s=rested_s, repositioned=repositioned)), take


def _sidecar(
    plan: Plan,
    device: Device,
    step: Step,
    stimulus: StimulusSidecar,
    *,
    take: Take,
    condition: str,
    calibration: MicrophoneCalibration,
) -> Sidecar:
    return Sidecar(
        stimulus_name=step.name.stimulus,
        level_db_spl=step.name.level_db_spl,
        condition=condition,
        take=step.name.take,
        after=step.name.after,
        drive_dbfs=stimulus.drive_dbfs,
        stimulus=stimulus.stimulus,
        reel=stimulus.reel,
        stimulus_start_sample=take.examined.alignment.stimulus_start,
        sample_rate=stimulus.sample_rate,
        channel=1,
        turned_db=0.0,  # this program holds the drive exactly, and nobody is asked to turn anything
        calibration=calibration.in_force(),
        loudspeaker=plan.loudspeaker,
        setup=plan.setup,
        date=iso_utc(take.began),
        rest_s=step.rest_s,
        clock_difference_ppm=take.examined.clock_difference_ppm(),
        sound_delay_s=take.sound_delay_s,
        device=device.name,
        simulated=device.simulated,
        stimulus_sha256=stimulus.sha256,
        recording_sha256="0" * 64,  # set when it is saved
        quality=take.examined.for_sidecar(),
    )
