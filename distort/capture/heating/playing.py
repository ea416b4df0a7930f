"""Plays a long heating and keeps what was heard of it, also where it was broken off."""

from dataclasses import dataclass
from pathlib import Path

from distort.capture.devices.guard import Guard
from distort.capture.devices.long_playing import LongDevice
from distort.capture.heating.playback import HeatingPlayback
from distort.capture.heating.recorder import HeatingRecorder
from distort.capture.heating.starting import HeatingReady
from distort.capture.measuring.expected import highest_peak
from distort.capture.measuring.least_heard import least_heard
from distort.capture.measuring.sounding import kept, noted
from distort.capture.measuring.steps import Step
from distort.errors import DistortError
from distort.session.audio.long_writing import writing
from distort.session.files.folder import SessionFolder
from distort.session.files.moments import iso_utc
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import HEATING
from distort.session.recordings.sidecar import Sidecar
from distort.session.recordings.sounded import Sounded
from distort.session.recordings.stimulus_files import Planned
from distort.session.recordings.stored import Recording, save_as_it_comes
from signals.heating import Heating
from signals.long_reel import long_reel


@dataclass(frozen=True, kw_only=True)
class HeatingPlayed:
    """What was recorded."""

    recording: Recording | None
    """None where playing was broken off so early that nothing can be read."""
    loud_s: float
    """How long the loud multitone is kept."""
    changed: tuple[float, float] | None
    """By how many dB a third octave had changed when that ended it, and its mid-band, Hz."""
    broken_off: BaseException | None
    """What ended it besides, Ctrl-C or an error: to be raised once what is kept was told."""


class _NothingKeptError(Exception):
    """So that no file is made."""


def play_heating(folder: SessionFolder, plan: Plan, device: LongDevice, ready: HeatingReady) -> HeatingPlayed:
    """Play it, and save what was heard whole. What breaks it off is not raised, but handed back.

    Raises SessionError where the folder does not allow it.
    """
    plan = plan.of(ready.condition)
    item = Planned(stimulus_name=HEATING, level_db_spl=ready.name.level_db_spl, stimulus=ready.heating)
    step = Step(item=item, name=ready.name, rest_s=0.0)
    notes: list[Sounded] = []
    ends: list[BaseException | None] = [None]
    recorders: list[HeatingRecorder] = []
    began = device.now()

    def record(place: Path) -> Sidecar:
        playback = HeatingPlayback(ready.heating)
        what = f"{ready.condition}/{ready.name.stem}"
        with writing(place, ready.heating.sample_rate) as file:
            recorder = HeatingRecorder(
                playback, file, delay_s=ready.quiet.delay_s, expected_dbfs=ready.expected_dbfs, what=what
            )
            recorders.append(recorder)
            guard = _guard(plan, ready, begins=playback.begins)
            try:
                with noted(folder, device, step, condition=ready.condition, rest_s=plan.levels.rest_s) as sounded:
                    notes.append(sounded)
                    device.play_long(playback, sample_rate=ready.heating.sample_rate, hear=recorder, guard=guard)
            except (DistortError, KeyboardInterrupt) as end:
                ends[0] = end
        whole = recorder.whole()
        if whole is None:
            raise _NothingKeptError
        return _sidecar(plan, ready, whole, recorder, device=device, date=iso_utc(began))

    try:
        recording = save_as_it_comes(folder, ready.condition, ready.name, record)
        kept(folder, device, notes[0])
    except _NothingKeptError:
        recording = None
    whole = recorders[0].whole()
    return HeatingPlayed(
        recording=recording,
        loud_s=0.0 if whole is None else whole.loud_s,
        changed=recorders[0].changed,
        broken_off=ends[0],
    )


def _guard(plan: Plan, ready: HeatingReady, *, begins: int) -> Guard:
    """What must be heard is asked of chirp and first pilot; after that a change of 3 dB ends it, silence as well."""
    pilot = ready.heating.pilot
    item = Planned(stimulus_name=HEATING, level_db_spl=ready.name.level_db_spl, stimulus=pilot)
    until = begins + pilot.n_samples
    expected = tuple(one for one in least_heard(ready.quiet, item) if one.end <= until)
    return Guard(highest=highest_peak(ready.quiet, plan, ready.item), expected=expected)


def _sidecar(
    plan: Plan, ready: HeatingReady, whole: Heating, recorder: HeatingRecorder, *, device: LongDevice, date: str
) -> Sidecar:
    examined = recorder.examined
    if examined is None:
        raise ValueError("a recording that was not found has no sidecar")
    difference_ppm = recorder.difference_ppm
    return Sidecar(
        stimulus_name=HEATING,
        level_db_spl=ready.name.level_db_spl,
        condition=ready.condition,
        take=ready.name.take,
        after=False,
        drive_dbfs=whole.drive_dbfs,
        stimulus=whole,
        reel=long_reel(whole),
        stimulus_start_sample=examined.alignment.stimulus_start,
        sample_rate=whole.sample_rate,
        channel=1,
        turned_db=0.0,  # this program holds the drive exactly, and nobody is asked to turn anything
        calibration=ready.calibration.in_force(),
        loudspeaker=plan.loudspeaker,
        setup=plan.setup,
        date=date,
        rest_s=None,
        clock_difference_ppm=difference_ppm,
        device=device.name,
        simulated=device.simulated,
        stimulus_sha256=ready.repeated.sidecar.stimulus_sha256,
        recording_sha256="0" * 64,  # set when it is saved
        quality=recorder.quality(),
    )
