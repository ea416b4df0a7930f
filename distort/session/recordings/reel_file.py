"""stimuli/reel*.wav and .json: everything a condition needs in one file, to be played from anything."""

import hashlib
import json
import re
from dataclasses import dataclass, field
from pathlib import Path

from distort.errors import SessionError
from distort.session.files.folder import SessionFolder
from distort.session.files.json_fields import by, read_json, write_json
from distort.session.files.names import RecordingName, format_level
from distort.session.recordings.pieces import give_piece
from distort.session.recordings.reel_layout import layout_of, reel_of
from signals import Chirp, Reel, Stimulus

WHOLE = "reel"
_REEL = re.compile(rf"{WHOLE}(_up_to_[0-9.]+dB)?\.json")


@dataclass(frozen=True, kw_only=True)
class ReelPart:
    """One stimulus of a reel, between its silences and clock chirps."""

    stimulus_name: str
    level_db_spl: float
    take: int
    after: bool
    """The reference level again, after the ladder."""
    rest_s: float | None
    """Silence before it, seconds; None for the first, before which nobody knows."""
    first_item: int
    end_item: int
    """The reel's items from `first_item` to before `end_item` are this part."""

    @property
    def name(self) -> RecordingName:
        """What its recording is called."""
        return RecordingName(
            stimulus=self.stimulus_name, level_db_spl=self.level_db_spl, take=self.take, after=self.after
        )


@dataclass(frozen=True, kw_only=True)
class SessionReel:
    """What a reel file plays and how to make it again exactly. Raises ValueError when its parts do not fit it."""

    up_to_db_spl: float | None
    """Highest level of the quiet part; None: this is the whole reel."""
    parts: tuple[ReelPart, ...]
    reel: Reel = field(metadata=by(layout_of, reel_of))
    dither_seed: int
    file: str
    sha256: str
    """Of the audio file, beside this one."""

    def __post_init__(self) -> None:
        if not self.parts:
            raise ValueError("the reel has no parts")
        for part in self.parts:
            if not 0 <= part.first_item < part.end_item <= len(self.reel.items):
                raise ValueError(f"{part.name.stem} does not lie in the reel")
            self.part_reel(part).only_stimulus()

    @property
    def sample_rate(self) -> int:
        """Samples a second."""
        return self.reel.sample_rate

    @property
    def stem(self) -> str:
        """File name without ending."""
        return reel_stem(self.up_to_db_spl)

    @property
    def chirp(self) -> Chirp:
        """The clock chirp: all of a reel's are alike."""
        return self.reel.chirps()[0][1]

    def part_reel(self, part: ReelPart) -> Reel:
        """What is played of `part`, as the sidecar of its recording holds it."""
        return Reel(self.reel.items[part.first_item : part.end_item])

    def part_start(self, part: ReelPart) -> int:
        """First sample of `part` in the reel."""
        return self.reel.starts[part.first_item]

    def stimulus(self, part: ReelPart) -> Stimulus:
        """The stimulus of `part`."""
        found: Stimulus = self.part_reel(part).only_stimulus()[1]
        return found


def reel_stem(up_to_db_spl: float | None) -> str:
    """Name of a reel's file without ending: "reel", or "reel_up_to_86dB"."""
    return WHOLE if up_to_db_spl is None else f"{WHOLE}_up_to_{format_level(up_to_db_spl)}dB"


def layout_sha256(reel: Reel) -> str:
    """What tells two reels apart: a hash of all they play and when."""
    text = json.dumps(layout_of(reel), sort_keys=True)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def reel_path(folder: SessionFolder, up_to_db_spl: float | None, suffix: str) -> Path:
    """stimuli/reel.wav and the like."""
    return folder.inside("stimuli", reel_stem(up_to_db_spl) + suffix)


def write_reel_sidecar(path: Path, reel: SessionReel) -> None:
    """Write a reel's .json. Raises SessionError when the folder does not allow it."""
    write_json(path, reel)


def read_reel(path: Path) -> SessionReel:
    """A reel's .json. Raises SessionError, naming the file, when it cannot be read or trusted."""
    return read_json(path, SessionReel)


def session_reels(folder: SessionFolder) -> tuple[SessionReel, ...]:
    """Every reel of the session, the whole one first; music in them has its samples. Raises SessionError when there is
    none, and as `give_piece` does."""
    found = [read_reel(path) for path in folder.files_in("stimuli") if _REEL.fullmatch(path.name)]
    for one in found:
        for part in one.parts:
            give_piece(folder, one.stimulus(part), played_for=one.file)
    if not found:
        raise SessionError(f"{folder.root} has no reel: `distort stimuli {folder.root} --reel` writes it")
    return tuple(sorted(found, key=lambda one: (one.up_to_db_spl is not None, one.up_to_db_spl or 0.0)))


@dataclass(frozen=True, kw_only=True)
class QuietReelPassed:
    """calibration/quiet_reel.json: the quiet part was brought in and was not too loud."""

    layout_sha256: str
    """Of the quiet reel, so that another plan asks for it anew."""
    up_to_db_spl: float
    condition: str
    too_loud_db: float
    """By how much its sweep was louder than nominal; negative: quieter."""
    highest_at_top_db_spl: float
    """What the highest level of the plan would give at the frequency where the loudspeaker is loudest."""
    recording_sha256: str
    date: str


QUIET_REEL_FILE = "quiet_reel.json"


def write_passed(folder: SessionFolder, passed: QuietReelPassed) -> None:
    """Write calibration/quiet_reel.json. Raises SessionError when the folder does not allow it."""
    write_json(folder.calibration_path(QUIET_REEL_FILE), passed)


def read_passed(folder: SessionFolder) -> QuietReelPassed | None:
    """What `write_passed` wrote; None when the quiet part was not passed yet. Raises SessionError."""
    path = folder.calibration_path(QUIET_REEL_FILE)
    return read_json(path, QuietReelPassed) if path.exists() else None
