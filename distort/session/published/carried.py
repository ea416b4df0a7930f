"""What files of a session still carry beside their sound: notes of a recorder, and names of files they came from.

What is brought in now leaves that behind unless asked. What an older version brought in, or was asked to keep, is never
rewritten: whoever packs it is told.
"""

from collections.abc import Iterable, Iterator
from pathlib import Path, PurePosixPath
from typing import Any

from distort.errors import RecordingError, SessionError
from distort.session.audio.integrity import (
    COMMENTS,
    PADDING,
    SEEK_TABLE,
    STREAMINFO,
    chunks,
    metadata_blocks,
    tag_before,
)
from distort.session.audio.original import without_file_name, without_file_names
from distort.session.files.folder import AUDIO_SUFFIXES, SessionFolder
from distort.session.files.json_fields import load_json_object
from distort.session.files.reading import opened, read_bytes

SOUND_CHUNKS = {b"fmt ", b"fact", b"data", b"ds64", b"PEAK"}
"""Of a WAV file; PEAK is the largest sample, which the library adds to floating point."""

SOUND_BLOCKS = {STREAMINFO, SEEK_TABLE}

LOOKED_AT_BYTES = 1 << 16
"""Of a chunk that may be empty: some recorders leave room of zeros before the sound."""

_TAGS_AT_END = ((128, b"TAG"), (32, b"APETAGEX"), (160, b"APETAGEX"))
"""Bytes before the end of a file at which tags begin that some programs append (ID3v1; APEv2, alone or before it)."""


def still_carrying(folder: SessionFolder, names: Iterable[str]) -> tuple[str, ...]:
    """Which of the files `names` of the session carry more than their sound, or are told of with a file's name.

    What a sidecar tells is told under the name of its recording.
    """
    every = set(names)
    return tuple(sorted({_recording_of(name, every) for name in every if _may_tell(folder.inside(name))}))


def _may_tell(path: Path) -> bool:
    """Whether the file at `path` tells more, or is too damaged to say."""
    try:
        return _tells(path)
    except (RecordingError, SessionError):
        return True


def _tells(path: Path) -> bool:
    if path.suffix in AUDIO_SUFFIXES:
        return _carries(path)
    if path.suffix == ".html":
        text = read_bytes(path).decode("utf-8", errors="replace")
        return without_file_names(text) != text
    return path.suffix == ".json" and _names_a_file(load_json_object(path))


def _recording_of(name: str, every: set[str]) -> str:
    """The recording of a sidecar, where it is among `every`; any other file itself."""
    sounds = [str(PurePosixPath(name).with_suffix(suffix)) for suffix in AUDIO_SUFFIXES]
    return next((sound for sound in sounds if sound in every), name)


def _names_a_file(value: Any) -> bool:
    """Whether a device anywhere in a document is called by the file that a recording was brought in from."""
    if isinstance(value, list):
        return any(map(_names_a_file, value))
    if not isinstance(value, dict):
        return False
    device = value.get("device")
    named = isinstance(device, str) and without_file_name(device) != device
    return named or any(map(_names_a_file, value.values()))


def _carries(path: Path) -> bool:
    with opened(path) as file:
        flac = file.read(4)[:3] in (b"fLa", b"ID3")
    if flac:
        return bool(tag_before(path)) or any(_tags_at_end(path)) or any(_telling_blocks(path))
    return any(chunk.name not in SOUND_CHUNKS and any(chunk.content(path, LOOKED_AT_BYTES)) for chunk in chunks(path))


def _telling_blocks(path: Path) -> Iterator[bool]:
    for block in metadata_blocks(path):
        if block.kind == COMMENTS:
            yield _number_of_comments(block.content(path)) > 0
        elif block.kind == PADDING:
            yield any(block.content(path))
        else:
            yield block.kind not in SOUND_BLOCKS


def _number_of_comments(block: bytes) -> int:
    """After the name of the program that wrote it (Ogg Vorbis I, comment header)."""
    at = 4 + int.from_bytes(block[:4], "little")
    return int.from_bytes(block[at : at + 4], "little")


def _tags_at_end(path: Path) -> Iterator[bool]:
    with opened(path) as file:
        size = file.seek(0, 2)
        for before_end, mark in _TAGS_AT_END:
            file.seek(max(size - before_end, 0))
            yield file.read(len(mark)) == mark
