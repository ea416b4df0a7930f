"""How many processes share the analysis of a session: known, and they are begun, before anything is loaded here that
analyses, since that takes each of them a second."""

import os

from distort.errors import SessionError
from distort.processes import Others
from distort.session.files.folder import SessionFolder

WORTH_A_PROCESS = 8
"""Recordings that pay for the second or so in which another process starts: ten of sweeps take some four."""

MOST_PROCESSES = 4
"""Each holds some 0.4 GB while it reads: four go along with what else a computer of 8 GB does."""


def others_for(folder: SessionFolder, condition: str | None = None) -> Others:
    """The other processes that are worth their start where all conditions in `folder` are analysed, or `condition`.

    They do not run yet. Raises SessionError for a folder of recordings that no condition can be called.
    """
    names = folder.conditions_recorded() if condition is None else (condition,)
    sizes = recordings_of(folder, names) if len(names) > 1 else []
    worth = min(os.cpu_count() or 1, MOST_PROCESSES, len(names), sum(sizes) // WORTH_A_PROCESS + 1)
    return Others(max(worth - 1, 0), load="distort.pipeline")


def recordings_of(folder: SessionFolder, names: tuple[str, ...]) -> list[int]:
    """How many there are of each condition; 0 where its analysis will say what is wrong with them."""
    return [_recordings_of(folder, name) for name in names]


def _recordings_of(folder: SessionFolder, name: str) -> int:
    try:
        return len(folder.recordings(name))
    except SessionError:
        return 0
