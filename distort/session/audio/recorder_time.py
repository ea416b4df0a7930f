"""When a recording began by the clock of the recorder that wrote it, as its file says.

Read, in this order, is the first that holds a whole date and time that can be:

    bext    OriginationDate and OriginationTime, from byte 320 of the chunk (EBU Tech 3285)
    iXML    BWF_ORIGINATION_DATE and BWF_ORIGINATION_TIME, the same again (iXML specification, from memory)
    ICRD    creation date of LIST/INFO (Multimedia Programming Interface and Data Specifications 1.0, 1991)
    ID3     TDRC of an ID3v2 tag, in a chunk of its own or before a FLAC file
    DATE    of the comments in a FLAC file (RFC 9639, section 8.6; the names: Ogg Vorbis I, comment header)

A recorder's clock has no zone, and nobody knows how well it was set: its times are held against its own alone, never
against those of another clock (`recording.clocks`).
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Literal, get_args

from distort.session.audio.id3 import recording_times
from distort.session.audio.integrity import COMMENTS, Chunk, chunks, metadata_blocks, tag_before

TimeSource = Literal["bext", "iXML", "ICRD", "ID3", "DATE"]

FIRST_YEAR = 1997
"""EBU Tech 3285 was published in that year; an earlier date is that of a clock which nobody has set."""

AHEAD = timedelta(days=1)
"""How far a clock may be ahead of UTC: zones reach to 14 hours. What is later is no date of a recording."""

MOST_BYTES = 1 << 20
"""Read of a chunk of text. A coding history or a list of tracks takes some kilobytes."""

_DATE = slice(320, 330)
_TIME = slice(330, 338)
_BEXT_DATE = re.compile(rb"(\d{4})\D(\d\d)\D(\d\d)")
_BEXT_TIME = re.compile(rb"(\d\d)\D(\d\d)\D(\d\d)")
_IXML_DATE = re.compile(rb"<BWF_ORIGINATION_DATE>([^<]{10})<")
_IXML_TIME = re.compile(rb"<BWF_ORIGINATION_TIME>([^<]{8})<")
_WHOLE = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(\.\d{1,6})?(Z|[+-]\d\d:\d\d)?", re.ASCII)


@dataclass(frozen=True, kw_only=True)
class RecorderTime:
    """When a recording began."""

    began: str
    """ISO 8601, to the second or millisecond; without a zone unless the file states one."""
    read_from: TimeSource


def recorder_time(path: Path) -> RecorderTime | None:
    """What the WAV or FLAC file `path` says; None where it says nothing, or nothing that can be.

    Raises RecordingError when its header is damaged, OSError when it cannot be read.
    """
    said: dict[TimeSource, str] = {}
    for source, text in _flac_texts(path) if _is_flac(path) else _wav_texts(path):
        if source not in said and (moment := believed(text)) is not None:
            said[source] = moment
    return next((RecorderTime(began=said[one], read_from=one) for one in get_args(TimeSource) if one in said), None)


def believed(text: str) -> str | None:
    """`text` as ISO 8601 if it is a whole date and time from FIRST_YEAR to now; else None."""
    moment = whole_moment(text.strip("\0 \t\r\n"))
    if moment is None or seconds_of(moment) > (datetime.now(UTC) + AHEAD).timestamp():
        return None
    return moment.isoformat(timespec="milliseconds" if moment.microsecond else "seconds")


def whole_moment(text: str) -> datetime | None:
    """`text` if it is a whole date and time in ISO 8601, from FIRST_YEAR on; else None."""
    if not _WHOLE.fullmatch(text):
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:  # the month 13, the 30th of February
        return None
    return moment if moment.year >= FIRST_YEAR else None


def seconds_of(moment: datetime) -> float:
    """Seconds from the origin of its clock: 1970 in UTC, or on a clock without a zone."""
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()


def later_by(began: str, seconds: float) -> str:
    """The moment `seconds` after `began`, to the millisecond, in the zone of `began` where it has one."""
    return (datetime.fromisoformat(began) + timedelta(seconds=seconds)).isoformat(timespec="milliseconds")


def _is_flac(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(4)[:3] in (b"fLa", b"ID3")


def _wav_texts(path: Path) -> Iterator[tuple[TimeSource, str]]:
    for chunk in chunks(path):
        found = _IN_CHUNKS.get(chunk.name)
        if found is not None and chunk.held == chunk.length:
            source, read = found
            for text in read(chunk, chunk.content(path, MOST_BYTES)):
                yield source, text


def _flac_texts(path: Path) -> Iterator[tuple[TimeSource, str]]:
    for text in recording_times(tag_before(path)):
        yield "ID3", text
    for block in metadata_blocks(path):
        if block.kind == COMMENTS:
            for comment in _comments(block.content(path)):
                name, _, text = comment.partition("=")
                if name.upper() == "DATE":
                    yield "DATE", text


def _bext(_: Chunk, content: bytes) -> Iterator[str]:
    """Whatever parts the digits is taken: the standard recommends five signs and demands none."""
    yield from _joined(content[_DATE], content[_TIME])


def _ixml(_: Chunk, content: bytes) -> Iterator[str]:
    """By the text alone: a parser of XML would follow what a hostile file declares."""
    date, time = _IXML_DATE.search(content), _IXML_TIME.search(content)
    if date is not None and time is not None:
        yield from _joined(date[1], time[1])


def _joined(date: bytes, time: bytes) -> Iterator[str]:
    day, clock = _BEXT_DATE.fullmatch(date), _BEXT_TIME.fullmatch(time)
    if day is not None and clock is not None:
        yield f"{b'-'.join(day.groups()).decode()}T{b':'.join(clock.groups()).decode()}"


def _info(chunk: Chunk, content: bytes) -> Iterator[str]:
    """Chunks within the chunk, after the four letters of its kind."""
    if content[:4] != b"INFO":
        return
    big_or_little: Literal["little", "big"] = "little" if chunk.order == "<" else "big"
    at = 4
    while len(header := content[at : at + 8]) == 8:
        size = int.from_bytes(header[4:], big_or_little)
        if header[:4] == b"ICRD":
            yield content[at + 8 : at + 8 + size].decode("ascii", errors="replace")
        at += 8 + size + size % 2


def _id3(_: Chunk, content: bytes) -> Iterator[str]:
    yield from recording_times(content)


def _comments(block: bytes) -> Iterator[str]:
    """Of a block, which holds length and text of the program's name, their number, then length and text of each."""
    at = 4 + int.from_bytes(block[:4], "little") + 4
    while len(header := block[at : at + 4]) == 4:
        size = int.from_bytes(header, "little")
        yield block[at + 4 : at + 4 + size].decode("utf-8", errors="replace")
        at += 4 + size


_IN_CHUNKS: dict[bytes, tuple[TimeSource, Callable[[Chunk, bytes], Iterator[str]]]] = {
    b"bext": ("bext", _bext),
    b"iXML": ("iXML", _ixml),
    b"LIST": ("ICRD", _info),
    b"id3 ": ("ID3", _id3),
    b"ID3 ": ("ID3", _id3),
}
