"""calibration/drive.json: how loud the loudspeaker is when driven quietly, which sets the drive of every level."""

from dataclasses import dataclass
from pathlib import Path

from distort.session.files.json_fields import read_json, write_json


@dataclass(frozen=True, kw_only=True)
class Sensitivity:
    """What the quiet run found; kept for all conditions, so that they are compared at equal drive."""

    db_spl: float
    """Power mean of the response over [levels] band_hz, dB SPL at 1 m for a drive of 0 dBFS."""
    highest_db_spl: float
    """The same at the frequency where it is highest."""
    quiet_drive_dbfs: float
    spl_of_full_scale: float
    """Of the calibration it was found with; the drives are wrong by as much as another one differs."""
    distance_m: float
    low_hz: float
    high_hz: float
    """Distance and [levels] band_hz of the plan it was found with."""
    condition: str
    device: str
    simulated: bool
    date: str
    """ISO 8601, UTC."""

    def drive_dbfs(self, level_db_spl: float) -> float:
        """Drive that would give `level_db_spl` at 1 m if the loudspeaker stayed as it is when played quietly."""
        return level_db_spl - self.db_spl


def write_sensitivity(path: Path, sensitivity: Sensitivity) -> None:
    """Write calibration/drive.json. Raises SessionError when the folder does not allow it."""
    write_json(path, sensitivity)


def keep_aside(path: Path, sensitivity: Sensitivity) -> Path:
    """Keep a copy beside `path`, named by when it was found; gives its path. Raises SessionError as writing does."""
    found = sensitivity.date.removesuffix("+00:00").replace(":", "").replace("-", "")
    aside = path.with_name(f"{path.stem}_found_{found}.json")
    write_json(aside, sensitivity)
    return aside


def read_sensitivity(path: Path) -> Sensitivity | None:
    """What `path` holds, or None when there is no such file: nothing was measured yet.

    Raises SessionError when the file is there and cannot be read or trusted.
    """
    return read_json(path, Sensitivity) if path.exists() else None
