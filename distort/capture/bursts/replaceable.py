"""Whether a file of bursts may be replaced by the next of its name."""

from distort.errors import SessionError
from distort.session.files.folder import SessionFolder
from distort.session.recordings.sidecar import read_stimulus_sidecar
from distort.session.recordings.stimulus_files import Planned
from distort.session.recordings.stored import load_recordings


def require_replaceable(folder: SessionFolder, item: Planned, *, otherwise: str) -> None:
    """Raises SessionError where the file of that name holds other bursts, and no recording of it was brought in: it may
    have been played already, and its recording is not found without it.

    otherwise   what to do if it was not played
    """
    path = folder.stimulus_path(item.stimulus_name, item.level_db_spl, ".json")
    if not path.is_file():
        return
    there = read_stimulus_sidecar(path).reel
    recorded = (one for name in folder.conditions_recorded() for one in load_recordings(folder, name))
    if there != item.reel and all(one.sidecar.reel != there for one in recorded):
        raise SessionError(
            f"{path.with_suffix('.wav')} holds other bursts than those that come next, and no recording of it was "
            f"brought in: if it was played, bring that in first; else {otherwise}"
        )
