"""Plays the ladder of levels and records it, stimulus by stimulus; what is recorded already is left alone."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from distort.capture.devices.device import Device
from distort.capture.devices.guard import Guard
from distort.capture.measuring.expected import highest_peak
from distort.capture.measuring.holding import Held, hold
from distort.capture.measuring.least_heard import least_heard
from distort.capture.measuring.playing_takes import Take, play_and_examine, save_loopback
from distort.capture.measuring.sounding import kept, noted
from distort.capture.measuring.starting import Choice, Ready, get_ready, up_to
from distort.capture.measuring.steps import Step
from distort.capture.measuring.third_octaves import (
    Standstill,
    ThirdOctaves,
    standstill,
)
from distort.errors import RecordingError
from distort.session.calibration.calibration_file import MicrophoneCalibration
from distort.session.files.folder import SessionFolder
from distort.session.files.moments import iso_utc
from distort.session.plan.keys import Plan
from distort.session.recordings.sidecar import Sidecar, StimulusSidecar
from distort.session.recordings.sounded import Sounded
from distort.session.recordings.stimulus_files import write_stimulus
from distort.session.recordings.stored import Recording, save_recording

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
        recording, answer = record_step(
            folder,
            plan,
            device,
            step,
            ready=ready,
            lower=answers,
            rested_s=rested_s,
            rest_after_s=plan.levels.rest_s,
            repositioned=anew,
        )
        recorded.append(recording)
        if answer is not None:
            answers[step.item.level_db_spl] = answer
        still = None if ready.choice.past_limiting else standstill(answers)
        within = up_to(waiting, still)
        if len(within) < len(waiting):
            waiting, ended = list(within), still
    return Measured(recordings=tuple(recorded), ended=ended)


def record_step(
    folder: SessionFolder,
    plan: Plan,
    device: Device,
    step: Step,
    *,
    ready: Ready,
    lower: Mapping[float, ThirdOctaves],
    rested_s: float | None,
    rest_after_s: float,
    repositioned: bool,
) -> tuple[Recording, ThirdOctaves | None]:
    """Play and record one step, and hold it against the quiet run; a take that is no good is repeated once. Gives what
    a sweep of the ladder answered.

    lower                    answers of the sweeps before it, by level
    rested_s, rest_after_s   how long the loudspeaker rested before it, None: nobody knows; and rests after it

    Raises TooLoudError or DeafError, as `play` does, once the take that is the reason is saved; its sidecar says so.
    """
    stimulus = write_stimulus(folder, step.item)
    condition = ready.choice.condition
    taken = _taken(folder, plan, device, step, ready=ready, rest_after_s=rest_after_s)
    take = taken.take
    held = Held() if ready.quiet is None else hold(ready.quiet, plan, step, take, ready=ready, lower=lower)
    sidecar = replace(
        _sidecar(plan, device, step, stimulus, take=take, condition=condition, calibration=ready.calibration),
        rest_s=rest_after_s if taken.repeated else rested_s,
        repositioned=repositioned,
        stopped=None if held.stop is None else held.stop.why,
    )
    save_loopback(folder, take, condition=condition, name=step.name, rate=step.item.reel.sample_rate)
    recording = save_recording(folder, take.samples, sidecar)
    kept(folder, device, taken.sounded)
    if held.stop is not None:
        raise held.stop.error
    return recording, held.answer


@dataclass(frozen=True, kw_only=True)
class _Taken:
    take: Take
    sounded: Sounded
    repeated: bool


def _taken(
    folder: SessionFolder, plan: Plan, device: Device, step: Step, *, ready: Ready, rest_after_s: float
) -> _Taken:
    """A take of `step`, the second where the first is no good."""
    condition = ready.choice.condition
    what = f"{condition}/{step.name.stem}"
    microphone = plan.hears_a_room(condition)
    guard = None
    if ready.quiet is not None:
        highest = highest_peak(ready.quiet, plan, step.item)
        guard = Guard(highest=highest, expected=least_heard(ready.quiet, step.item))

    def played(*, repeated: bool) -> _Taken:
        with noted(folder, device, step, condition=condition, rest_s=rest_after_s) as sounded:
            take = play_and_examine(device, step.item.reel, what=what, guard=guard, microphone=microphone)
        return _Taken(take=take, sounded=sounded, repeated=repeated)

    try:
        return played(repeated=False)
    except RecordingError:
        device.rest(rest_after_s)
        return played(repeated=True)


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
