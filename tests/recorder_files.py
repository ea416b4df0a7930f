"""Audio files as recorders write them, built here from the published layouts, with marks in every place for words.

RIFF, LIST/INFO, cue     Multimedia Programming Interface and Data Specifications 1.0 (1991)
bext                     EBU Tech 3285
RF64, ds64               EBU Tech 3306
extensible format        Microsoft, Multiple Channel Audio Data and WAVE Files (2001)
iXML                     iXML specification (from memory)
FLAC metadata            RFC 9639, section 8
ID3v2.3, ID3v2.4         M. Nilsson, informal standards (1999, 2000); ID3v1 and APEv2 from memory
"""

import struct
from pathlib import Path

import numpy as np
import soundfile

MARK = "Zebra"
"""Stands in every name, place and note; no word of the program holds it."""

MARKS = tuple(MARK.encode(code) for code in ("ascii", "utf-16-le", "utf-16-be"))

BEGAN = "2024-05-01T12:00:31"

SUBFORMAT_END = bytes.fromhex("800000aa00389b71")
"""Of KSDATAFORMAT_SUBTYPE_PCM and _IEEE_FLOAT: a number of four bytes that names the format, two of two, then these."""


def chunk(name: bytes, content: bytes, order: str = "<") -> bytes:
    return name + struct.pack(f"{order}I", len(content)) + content + b"\0" * (len(content) % 2)


def riff(*parts: bytes, form: bytes = b"RIFF") -> bytes:
    body = b"WAVE" + b"".join(parts)
    order = ">" if form == b"RIFX" else "<"
    return form + struct.pack(f"{order}I", len(body)) + body


def bext(date: bytes = b"2024-05-01", time: bytes = b"12:00:31") -> bytes:
    """Description, originator, its reference, date, time, time reference, version, UMID, loudness, coding history."""
    words = [
        f"{MARK} studio, the landlord's flat".encode().ljust(256, b"\0"),
        f"{MARK}-Recorder".encode().ljust(32, b"\0"),
    ]
    words += [f"{MARK}0001".encode().ljust(32, b"\0"), date.ljust(10, b"\0"), time.ljust(8, b"\0")]
    numbers = struct.pack("<QH", 12345, 2) + f"{MARK}".encode().ljust(64, b"\0") + bytes(10 + 180)
    return chunk(b"bext", b"".join(words) + numbers + f"A=PCM,T={MARK}\r\n".encode())


def info(date: bytes | None = None, order: str = "<") -> bytes:
    """Artist, place, comment, and where wanted the creation date; of odd and even lengths."""
    parts = [(b"IART", f"{MARK} Person\0"), (b"IARL", f"{MARK} Street 1\0"), (b"ICMT", f"quiet {MARK}\0")]
    content = b"".join(chunk(name, text.encode(), order) for name, text in parts)
    return chunk(b"LIST", b"INFO" + content + (chunk(b"ICRD", date, order) if date is not None else b""), order)


def ixml(date: str = "", time: str = "") -> bytes:
    dated = f"<BWF_ORIGINATION_DATE>{date}</BWF_ORIGINATION_DATE><BWF_ORIGINATION_TIME>{time}</BWF_ORIGINATION_TIME>"
    text = f"<BWFXML><PROJECT>{MARK}</PROJECT><NOTE>\u00e4 {MARK}</NOTE><BEXT>{dated}</BEXT></BWFXML>"
    return chunk(b"iXML", text.encode())


def cue() -> bytes:
    """One marker, and its label."""
    marker = chunk(b"cue ", struct.pack("<III4sIII", 1, 1, 0, b"data", 0, 0, 100))
    return marker + chunk(b"LIST", b"adtl" + chunk(b"labl", struct.pack("<I", 1) + f"{MARK}\0".encode()))


def seven(size: int) -> bytes:
    return bytes(size >> shift & 0x7F for shift in (21, 14, 7, 0))


def id3(*, version: int = 4, time: str | None = None, encoding: int = 3) -> bytes:
    """A tag with a title in UTF-16, and where wanted the recording time."""
    code = ("latin-1", "utf-16", "utf-16-be", "utf-8")[encoding]
    frames = [(b"TIT2", b"\1" + MARK.encode("utf-16")), (b"TPE1", b"\0" + MARK.encode())]
    if time is not None:
        frames.append((b"TDRC", bytes([encoding]) + time.encode(code)))
    spell = seven if version == 4 else (lambda size: struct.pack(">I", size))
    content = b"".join(name + spell(len(text)) + b"\0\0" + text for name, text in frames) + bytes(30)
    return b"ID3" + bytes([version, 0, 0]) + seven(len(content)) + content


def everything(*, dated: bool = True) -> tuple[bytes, bytes]:
    """What stands before the sound, and what after it."""
    date = (b"2024-05-01", b"12:00:31") if dated else (b"0000-00-00", b"00:00:00")
    before = bext(*date) + chunk(b"JUNK", f"left over {MARK}".encode()) + ixml() + info()
    after = cue() + chunk(b"id3 ", id3()) + chunk(b"ID3 ", id3(version=3)) + chunk(b"_PMX", f"<x>{MARK}</x>".encode())
    return before, after + chunk(b"note", f"odd {MARK}".encode())


def with_chunks(path: Path, before: bytes, after: bytes = b"") -> None:
    """Put chunks before and after the sound of the WAV file `path`, which the library wrote."""
    content = path.read_bytes()
    at = content.index(b"fmt ")
    body = b"WAVE" + content[12:at] + before + content[at:] + b"\0" * (len(content) % 2) + after
    path.write_bytes(content[:4] + struct.pack("<I", len(body)) + body)


def extensible(samples: np.ndarray, rate: int, *, container: int, valid: int, form: bytes = b"RIFF") -> bytes:
    """A WAV file of whole numbers `(n, channels)` of `container` bits, `valid` of which count; RIFX is big-endian."""
    order = ">" if form == b"RIFX" else "<"
    channels, width = samples.shape[1], container // 8
    shape = struct.pack(f"{order}HHIIHH", 0xFFFE, channels, rate, rate * channels * width, channels * width, container)
    shape += struct.pack(f"{order}HHIIHH", 22, valid, 0x4, 1, 0, 0x10) + SUBFORMAT_END
    wide = samples.astype(f"{order}i4").view(np.uint8).reshape(-1, 4)
    sound = (wide[:, 4 - width :] if order == "<" else wide[:, :width]).tobytes()
    parts = [chunk(b"fmt ", shape, order), chunk(b"LIST", b"INFO" + chunk(b"IART", MARK.encode(), order), order)]
    if form != b"RF64":
        return riff(*parts, chunk(b"data", sound, order), form=form)
    sizes = struct.pack("<QQQI", 0, len(sound), len(samples), 0)
    return b"RF64\xff\xff\xff\xffWAVE" + chunk(b"ds64", sizes) + b"".join(parts) + b"data\xff\xff\xff\xff" + sound


def flac_block(kind: int, content: bytes, *, last: bool = False) -> bytes:
    return bytes([kind | 0x80 * last]) + len(content).to_bytes(3, "big") + content


def comments(*texts: str) -> bytes:
    """A block of comments; lengths are little-endian here alone."""
    spelled = [text.encode() for text in (f"{MARK} encoder", *texts)]
    first, *rest = [struct.pack("<I", len(text)) + text for text in spelled]
    return flac_block(4, first + struct.pack("<I", len(rest)) + b"".join(rest))


def picture() -> bytes:
    kind = struct.pack(">I", 3) + struct.pack(">I", 9) + b"image/png" + struct.pack(">I", len(MARK)) + MARK.encode()
    return flac_block(6, kind + struct.pack(">IIIII", 1, 1, 24, 0, 4) + b"\x89PNG")


def with_blocks(path: Path, *blocks: bytes, before: bytes = b"", after: bytes = b"") -> None:
    """Give the FLAC file `path`, which the library wrote, other blocks than its first, and tags around."""
    content = path.read_bytes()
    at = 4
    while not content[at] & 0x80:
        at += 4 + int.from_bytes(content[at + 1 : at + 4], "big")
    frames = content[at + 4 + int.from_bytes(content[at + 1 : at + 4], "big") :]
    stream = flac_block(0, content[8:42])
    path.write_bytes(
        before + b"fLaC" + stream + b"".join(blocks) + flac_block(1, bytes(64), last=True) + frames + after
    )


def flac_everything(date: str | None = BEGAN) -> tuple[bytes, ...]:
    """Comments, a picture, an application's block, a cue sheet with a catalogue number, padding that is not empty."""
    dated = () if date is None else (f"date={date}",)
    sheet = (
        f"{MARK}0001".encode().ljust(128, b"\0")
        + bytes(8 + 1 + 258)
        + b"\1"
        + bytes(8)
        + b"\xaa"
        + bytes(12 + 1 + 13 + 1)
    )
    told = comments(f"ARTIST={MARK}", f"LOCATION={MARK} Street", *dated)
    return told, picture(), flac_block(2, b"riff" + bext()), flac_block(5, sheet), flac_block(1, f"{MARK}".encode())


def write_wav(
    path: Path, samples: np.ndarray, rate: int, subtype: str = "PCM_24", *, began: str | None = BEGAN
) -> Path:
    """A recording with every chunk; `began` in its bext, or nonsense there."""
    soundfile.write(path, samples, rate, subtype=subtype, format="WAV")
    before, after = everything(dated=False)
    if began is not None:
        date, time = began.split("T")
        before = bext(date.encode(), time.encode()) + before
    with_chunks(path, before, after)
    return path


def write_flac(path: Path, samples: np.ndarray, rate: int, *, date: str | None = BEGAN) -> Path:
    """The same as FLAC, with an ID3v2 tag before and ID3v1 and APEv2 tags after it."""
    soundfile.write(path, samples, rate, subtype="PCM_24", format="FLAC")
    ape = b"APETAGEX" + struct.pack("<IIII", 2000, 32, 0, 0) + bytes(8)
    after = f"{MARK}".encode() + ape + b"TAG" + f"{MARK}".encode().ljust(125, b"\0")
    with_blocks(path, *flac_everything(date), before=id3(), after=after)
    return path
