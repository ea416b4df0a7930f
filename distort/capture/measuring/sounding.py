"""What is played loud is noted before it sounds, as if it sounded to its end, and again once it is silent."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import datetime, timedelta

from distort.capture.devices.device import Device
from distort.capture.measuring.exposure import sounding_s
from distort.capture.measuring.steps import Step
from distort.errors import SessionError
from distort.session.files.folder import SessionFolder
from distort.session.recordings.sounded import Sounded, note_sounded, read_sounded


@contextmanager
def noted(folder: SessionFolder, device: Device, step: Step, *, condition: str, rest_s: float) -> Iterator[Sounded]:
    """Around one run of `device`: it is noted before, and how far it came when it is broken off.

    rest_s   how long the loudspeaker rests after it

    Raises SessionError, and nothing sounds, when the folder does not allow it.
    """
    began = device.now()
    one = Sounded(
        recording=f"{condition}/{step.name.stem}",
        level_db_spl=step.item.level_db_spl,
        seconds=sounding_s(step.item.stimulus),
        began=_moment(began),
        ended=_moment(began + timedelta(seconds=step.item.reel.n_samples / step.item.reel.sample_rate)),
        rest_s=rest_s,
        simulated=device.simulated,
    )
    note_sounded(folder, one)
    try:
        yield one
    except BaseException:  # Ctrl-C among them
        now = device.now()
        before, _ = step.item.reel.only_stimulus()
        sounded_s = (now - began).total_seconds() - before / step.item.reel.sample_rate
        came_to = one if now < began else replace(one, ended=_moment(now), seconds=_within(sounded_s, one.seconds))
        with suppress(SessionError):  # what is noted already says too much rather than too little
            note_sounded(folder, came_to)
        raise


def kept(folder: SessionFolder, device: Device, one: Sounded) -> None:
    """`one` became a recording. Raises SessionError when the folder does not allow to say so."""
    note_sounded(folder, replace(one, ended=max(one.ended, _moment(device.now())), kept=True))


def rest_owed_s(folder: SessionFolder, now: datetime) -> float:
    """How long the loudspeaker still rests after what was played last, whoever ended that program; 0 for the simulated
    one, which every program makes anew. Where the clock was set back, all of the rest is owed.

    Raises SessionError for a file that cannot be trusted.
    """
    played = read_sounded(folder)
    if not played or played[-1].simulated:
        return 0.0
    last = played[-1]
    return _within(last.rest_s - (now - datetime.fromisoformat(last.ended)).total_seconds(), last.rest_s)


def rest_that_is_owed(folder: SessionFolder, device: Device) -> None:
    """Let the loudspeaker rest for it. Raises PausedError as `Device.rest`, and SessionError as `rest_owed_s`."""
    owed_s = rest_owed_s(folder, device.now())
    if owed_s > 0.0:
        device.rest(owed_s)


def _within(seconds: float, most_s: float) -> float:
    return min(max(seconds, 0.0), most_s)


def _moment(moment: datetime) -> str:
    return moment.isoformat(timespec="milliseconds")
