"""What a sidecar keeps of the file that a recording was brought in from, when the file itself is not kept as it was."""

import dataclasses
import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from distort.session.audio.recorder_time import TimeSource, later_by, recorder_time, seconds_of, whole_moment
from distort.session.files.hashing import is_sha256, sha256_of_file

ELSEWHERE = "recorded elsewhere"
"""How the device of what was not recorded by this program is called, before what else is known of it."""

_NAMED_FILE = re.compile(rf"{ELSEWHERE} \((?!the reel \S+, SHA-256 [0-9a-f]{{16}}\)$).*\)", re.DOTALL)
_IN_TEXT = re.compile(rf"{ELSEWHERE} \((?:[^()]|\([^()]*\))*\)")
_REEL_AT_END = re.compile(r", (the reel \S+, SHA-256 [0-9a-f]{16})\)$")


@dataclass(frozen=True, kw_only=True)
class Original:
    """A file as its recorder wrote it. Raises ValueError for what cannot be."""

    sha256: str
    """Of its bytes: proves later which file it was."""
    began: str | None
    """When the recording began by the recorder's own clock: ISO 8601, without a zone unless the file states one, so
    not to be held against the computer's UTC; None: the file does not say."""
    began_from: TimeSource | None
    """Which part of the file says so."""
    kept: bool
    """It was asked for that everything in the file is kept, and its name."""

    def __post_init__(self) -> None:
        if not is_sha256(self.sha256):
            raise ValueError(f"{self.sha256!r} is not a SHA-256")
        if (self.began is None) != (self.began_from is None):
            raise ValueError("began and began_from go together")
        if self.began is not None and whole_moment(self.began) is None:
            raise ValueError(f"began {self.began!r} is no date and time")

    @property
    def clock(self) -> tuple[TimeSource | None, bool]:
        """What its time is of: those of two files may be compared where this is the same."""
        return self.began_from, self.began is not None and datetime.fromisoformat(self.began).tzinfo is not None

    @property
    def began_s(self) -> float:
        """When it began, seconds from a fixed origin of its clock; it must say when."""
        assert self.began is not None
        return seconds_of(datetime.fromisoformat(self.began))

    def later_by(self, seconds: float) -> "Original":
        """The same file, of a recording that begins so much later in it."""
        if self.began is None:
            return self
        return dataclasses.replace(self, began=later_by(self.began, seconds))


def original_of(path: Path, *, kept: bool) -> Original:
    """What is noted of the audio file `path`. Raises RecordingError when it is damaged, SessionError, OSError."""
    said = recorder_time(path)
    return Original(
        sha256=sha256_of_file(path),
        began=None if said is None else said.began,
        began_from=None if said is None else said.read_from,
        kept=kept,
    )


def elsewhere(*, named: str | None = None, also: str = "") -> str:
    """What a sidecar says recorded it: elsewhere, the file's name where it is to be kept, and what `also` is known."""
    known = ", ".join(part for part in (named, also) if part)
    return f"{ELSEWHERE} ({known})" if known else ELSEWHERE


def without_file_name(device: str) -> str:
    """A sidecar's device without the name of the file that a recording was brought in from."""
    if not _NAMED_FILE.fullmatch(device):
        return device
    reel = _REEL_AT_END.search(device)
    return elsewhere(also=reel[1] if reel else "")


def without_file_names(text: str) -> str:
    """A text without the names in the devices that stand in it, which older versions wrote into their words."""
    return _IN_TEXT.sub(lambda found: without_file_name(found[0]), text)
