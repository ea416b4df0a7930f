"""Gives a recording that was brought in its right name: another level, stimulus or condition than was said first."""

import dataclasses
from dataclasses import dataclass

from distort.capture.importing.recordings import naming_what_it_holds
from distort.errors import SessionError, UsageError, WrongStimulusError
from distort.recording.quality.examined import Examined, examine
from distort.session.audio.resampling import resample
from distort.session.files.folder import SessionFolder
from distort.session.files.moments import now_utc
from distort.session.plan.keys import Plan, Setup
from distort.session.plan.kinds import SWEEP
from distort.session.recordings.mended import Relabelled
from distort.session.recordings.sidecar import Sidecar, reason_words
from distort.session.recordings.stimulus_files import read_stimulus
from distort.session.recordings.stored import FROM_A_REEL, Recording, rename_recording
from signals import sampled


@dataclass(frozen=True, kw_only=True)
class Label:
    """What a recording really is; None: that much was right."""

    stimulus_name: str | None = None
    level_db_spl: float | None = None
    condition: str | None = None
    after: bool = False
    """It is the lowest level again, played after the others."""


def relabel(folder: SessionFolder, plan: Plan, recording: Recording, label: Label, *, reason: str) -> Recording:
    """Check a recording against what it really is, and give it that name; its sound is left as it is.

    What it was called before stays in its sidecar, with the reason. Raises UsageError when nothing would change,
    SessionError for what this program played itself, for a rejected recording and a stimulus that the session does not
    have, RecordingError when the recording does not hold that stimulus. Nothing is changed then.
    """
    before = recording.sidecar
    why = reason_words(recording.files.sidecar_path, reason, what="relabelled")
    _require_mendable(recording, label)
    after = _called(before, label, plan)
    plays_another = (after.stimulus_name, after.level_db_spl) != (before.stimulus_name, before.level_db_spl)
    keeps_its_sweep = label.stimulus_name is None and sampled(before.stimulus) is not None
    if plays_another and not keeps_its_sweep:
        after = _playing(folder, after)
    examined = _examined(folder, plan, recording, after)
    after = dataclasses.replace(
        after,
        quality=examined.for_sidecar(),
        take=folder.next_take(after.condition, after.name).take,
        relabelled=(*before.relabelled, _as_it_was(before, why)),
    )
    if after.reel != before.reel:
        start = examined.alignment.stimulus_start * after.sample_rate / after.reel.sample_rate
        clock_ppm = examined.clock_difference_ppm()
        after = dataclasses.replace(after, stimulus_start_sample=start, clock_difference_ppm=clock_ppm)
    return rename_recording(recording, after)


def _require_mendable(recording: Recording, label: Label) -> None:
    sidecar, name = recording.sidecar, f"{recording.sidecar.condition}/{recording.sidecar.name.stem}"
    if not sidecar.made_elsewhere:
        raise SessionError(
            f"{name} was played by `distort measure`, which knows what it played: if it is wrong all the same, reject "
            f"it and measure again"
        )
    if sidecar.rejected is not None:
        raise SessionError(
            f"{name} is rejected ({sidecar.rejected}): bring its file in again with `distort add`, as what it is"
        )
    if FROM_A_REEL in sidecar.device and (label.stimulus_name is not None or label.level_db_spl is not None):
        raise SessionError(
            f"{name} was cut out of a reel, whose chirps tell what was played when: only its --condition can be mended"
        )


def _called(before: Sidecar, label: Label, plan: Plan) -> Sidecar:
    """The sidecar under its right name, as the first take. Raises UsageError for a label that says nothing, or
    nonsense."""
    stimulus_name = label.stimulus_name or before.stimulus_name
    level = before.level_db_spl if label.level_db_spl is None else label.level_db_spl
    condition = label.condition or before.condition
    lowest = min(plan.levels.db_spl)
    may_be_after = stimulus_name == SWEEP and level == lowest and not before.repositioned
    if label.after and not may_be_after:
        raise UsageError(f"--after is about the sweep of the lowest level, {lowest:g} dB SPL, with nothing moved")
    after = label.after or (before.after and may_be_after)
    called = dataclasses.replace(
        before,
        stimulus_name=stimulus_name,
        level_db_spl=level,
        condition=condition,
        after=after,
        setup=_set_up(before, condition, plan),
    )
    if called == before:
        raise UsageError(f"{before.condition}/{before.name.stem} is called so already: say what it really is")
    return dataclasses.replace(called, take=1)


def _set_up(before: Sidecar, condition: str, plan: Plan) -> Setup:
    """What it was recorded in, with what the plan says of `condition` otherwise than of the one it was taken for."""
    taken_for, really = plan.of(before.condition).setup, plan.of(condition).setup
    keys = [key.name for key in dataclasses.fields(Setup)]
    other = {key: getattr(really, key) for key in keys if getattr(really, key) != getattr(taken_for, key)}
    return dataclasses.replace(before.setup, **other)


def _playing(folder: SessionFolder, sidecar: Sidecar) -> Sidecar:
    """`sidecar` with the stimulus that its name says, as stimuli/ describes it."""
    stimulus = read_stimulus(folder, sidecar.stimulus_name, sidecar.level_db_spl)
    return dataclasses.replace(
        sidecar,
        drive_dbfs=stimulus.stimulus.drive_dbfs,
        stimulus=stimulus.stimulus,
        reel=stimulus.reel,
        stimulus_sha256=stimulus.sha256,
        stimulus_original_sha256=None,
    )


def _examined(folder: SessionFolder, plan: Plan, recording: Recording, sidecar: Sidecar) -> Examined:
    samples, rate = recording.samples(), sidecar.sample_rate
    try:
        return examine(
            resample(samples, from_rate=rate, to_rate=sidecar.reel.sample_rate),
            sidecar.reel,
            what=str(recording.files.audio_path),
            as_stored=samples,
            stated_hz=rate,
            microphone=plan.hears_a_room(sidecar.condition),
        )
    except WrongStimulusError as error:
        raise naming_what_it_holds(folder, samples, rate, error=error, not_this=sidecar.stimulus_name) from error


def _as_it_was(before: Sidecar, reason: str) -> Relabelled:
    return Relabelled(
        stimulus_name=before.stimulus_name,
        level_db_spl=before.level_db_spl,
        condition=before.condition,
        take=before.take,
        after=before.after,
        stimulus_sha256=before.stimulus_sha256,
        reason=reason,
        date=now_utc(),
    )
