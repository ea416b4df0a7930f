"""Whether the disk holds what is to be recorded, looked at before anything sounds."""

import shutil
from collections.abc import Sequence

from distort.capture.measuring.steps import Step
from distort.errors import SessionError
from distort.session.files.folder import SessionFolder

BYTES_A_SAMPLE = 4
"""Of a recording, its loopback and a stimulus file: 24 bits, and what a file system and FLAC add at worst."""

COPIES = 2
"""The microphone's recording and that of a loopback."""

ROOM_BESIDES = 20_000_000
"""Bytes for sidecars, other programs' files meanwhile, and the results to come."""


def bytes_needed(steps: Sequence[Step]) -> int:
    """At most, for the recordings of `steps` and the stimulus files beside them."""
    recordings = sum(step.item.reel.n_samples for step in steps)
    stimuli = sum({step.item.stem: step.item.reel.n_samples for step in steps}.values())
    return BYTES_A_SAMPLE * (COPIES * recordings + stimuli) + ROOM_BESIDES


def require_room(folder: SessionFolder, steps: Sequence[Step]) -> None:
    """Raises SessionError when the disk of the session has no room for what `steps` record."""
    needed, free = bytes_needed(steps), shutil.disk_usage(folder.root).free
    if free < needed:
        raise SessionError(
            f"nothing was played: {len(steps)} recordings need up to {needed / 1e6:.0f} MB, and the disk of "
            f"{folder.root} has {free / 1e6:.0f} MB left: make room, or record a part with --only"
        )
