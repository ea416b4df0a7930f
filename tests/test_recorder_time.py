"""When a recording began, as its file says; and nothing that is not so where it says nonsense.

Files are built from the layouts that tests/recorder_files.py names.
"""

import os
import struct
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from distort.errors import DistortError
from distort.session.audio.audio_file import read_audio
from distort.session.audio.original import Original, original_of
from distort.session.audio.recorder_time import RecorderTime, believed, later_by, recorder_time
from tests.recorder_files import (
    MARK,
    bext,
    chunk,
    comments,
    everything,
    extensible,
    flac_block,
    id3,
    info,
    ixml,
    riff,
    seven,
    with_blocks,
    with_chunks,
)

RATE = 48000
SOUND = 0.1 * np.sin(np.arange(500))


def wav(path: Path, before: bytes = b"", after: bytes = b"") -> Path:
    soundfile.write(path, SOUND, RATE, subtype="PCM_24", format="WAV")
    with_chunks(path, before, after)
    return path


def flac(path: Path, *blocks: bytes, before: bytes = b"") -> Path:
    soundfile.write(path, SOUND, RATE, subtype="PCM_24", format="FLAC")
    with_blocks(path, *blocks, before=before)
    return path


def said(began: str, read_from: str) -> RecorderTime:
    return RecorderTime(began=began, read_from=read_from)


OTHER = (b"2024-05-01 13:00:00", "2024-05-01T13:00:00")


@pytest.mark.parametrize("place", ["before", "after"])
@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (bext(), said("2024-05-01T12:00:31", "bext")),
        # Tech 3285 recommends - _ : blank and . between the digits, and allows anything
        (bext(b"2024_05:01", b"12.00 31"), said("2024-05-01T12:00:31", "bext")),
        (bext(b"2024/05/01", b"12\0" b"00\xff31"), said("2024-05-01T12:00:31", "bext")),
        (ixml("2024-05-01", "12:00:31"), said("2024-05-01T12:00:31", "iXML")),
        (info(b"2024-05-01T12:00:31.25\0"), said("2024-05-01T12:00:31.250", "ICRD")),
        (info(b"2024-05-01 12:00:31\r\n"), said("2024-05-01T12:00:31", "ICRD")),
        *(
            (chunk(name, id3(version=version, time=f"{OTHER[1]}\0", encoding=code)), said(OTHER[1], "ID3"))
            for name in (b"id3 ", b"ID3 ")
            for version in (3, 4)
            for code in range(4)
        ),
        # the first that can be, in the order of the list, wherever it stands in the file
        (info(OTHER[0]) + bext(), said("2024-05-01T12:00:31", "bext")),
        (bext(b"0000-00-00", b"00:00:00") + info(OTHER[0]), said(OTHER[1], "ICRD")),
        (bext(b"\0" * 10, b"\0" * 8) + ixml("2024-05-01", "12:00:31"), said("2024-05-01T12:00:31", "iXML")),
        (bext(b"0000-00-00") + bext(), said("2024-05-01T12:00:31", "bext")),
        (bext() + bext(b"2023-01-01"), said("2024-05-01T12:00:31", "bext")),
    ],
)  # fmt: skip
def test_a_wav_file_says_when_it_began(tmp_path, place, content, expected) -> None:
    path = wav(tmp_path / "take.wav", **{place: content})
    assert recorder_time(path) == expected


@pytest.mark.parametrize("form", [b"RIFF", b"RIFX", b"RF64"])
def test_in_every_form_of_wav(tmp_path, form) -> None:
    path = tmp_path / "take.wav"
    content = extensible(np.zeros((10, 1), dtype=np.int32), RATE, container=24, valid=24, form=form)
    order = ">" if form == b"RIFX" else "<"
    path.write_bytes(content + chunk(b"bext", bext()[8:], order))
    assert recorder_time(path) == said("2024-05-01T12:00:31", "bext")
    path.write_bytes(content + info(b"2024-05-01 12:00:31", order))
    assert recorder_time(path) == said("2024-05-01T12:00:31", "ICRD")


@pytest.mark.parametrize(
    ("blocks", "before", "expected"),
    [
        ((comments("DATE=2024-05-01T12:00:31"),), b"", said("2024-05-01T12:00:31", "DATE")),
        ((comments("A=B", "date=2024-05-01 12:00:31+02:00"),), b"", said("2024-05-01T12:00:31+02:00", "DATE")),
        ((comments("Date=2024-05-01T12:00:31Z"),), b"", said("2024-05-01T12:00:31+00:00", "DATE")),
        ((comments(),), id3(time="2024-05-01T12:00:31"), said("2024-05-01T12:00:31", "ID3")),
        ((comments("DATE=2024"),), b"", None),
        ((comments("UPDATE=2024-05-01T12:00:31", "DATE"),), b"", None),
        ((flac_block(2, b"riff" + bext()),), b"", None),
    ],
)  # fmt: skip
def test_a_flac_file_says_when_it_began(tmp_path, blocks, before, expected) -> None:
    assert recorder_time(flac(tmp_path / "take.flac", *blocks, before=before)) == expected


@pytest.mark.parametrize(
    "text",
    [
        *("", "2024", "2024-05-01", "12:00:31", "2024-05-01T12:00", "2024-05-01T12", "01.05.2024 12:00:31"),
        *("0000-00-00T00:00:00", "0000-00-00 00:00:00", "2024-00-10T12:00:00", "2024-13-01T12:00:00"),
        *("2023-02-29T12:00:00", "2024-05-01T24:00:01", "2024-05-01T12:60:00", "2024-05-01T12:00:60"),
        *("1904-01-01T00:00:00", "1970-01-01T00:00:00", "1980-01-01T00:00:00", "1996-12-31T23:59:59"),
        *("2107-12-31T23:59:58", "9999-12-31T23:59:59", "9999-12-31T23:59:59-12:00", "2024-05-01T12:00:31+99:00"),
        *("\u0662\u0660\u0662\u0664-05-01T12:00:31", "2024-05-01T12:00:31 x", "x2024-05-01T12:00:31"),
        *("\uff12024-05-01T12:00:31", "2024-W18-3T12:00:31", "20240501T120031", "2024-05-01T12:00:31,5"),
    ],
)  # fmt: skip
def test_what_is_no_whole_date_that_can_be_is_not_believed(text) -> None:
    assert believed(text) is None


def test_a_clock_may_be_ahead_by_its_zone_and_no_more() -> None:
    """Zones reach to UTC+14 (Line Islands); a day is allowed."""
    now = datetime.now(UTC).replace(tzinfo=None, microsecond=0)
    for ahead in (timedelta(0), timedelta(hours=14)):
        assert believed((now + ahead).isoformat()) == (now + ahead).isoformat()
    assert believed((now + timedelta(hours=25)).isoformat()) is None


@given(st.datetimes(min_value=datetime(1997, 1, 1), max_value=datetime(2026, 1, 1)), st.floats(0.0, 86400.0))
def test_what_a_file_says_comes_back_and_moves_exactly(moment, seconds) -> None:
    """To the second, as bext has it; later within it to a millisecond's half and the resolution of 64-bit floats."""
    whole = moment.replace(microsecond=0)
    text = believed(f"{whole:%Y-%m-%d} {whole:%H:%M:%S}".rjust(19, "0"))
    assert text is not None
    assert datetime.fromisoformat(text) == whole
    moved = Original(sha256="a" * 64, began=later_by(text, seconds), began_from="bext", kept=False)
    start = Original(sha256="a" * 64, began=text, began_from="bext", kept=False)
    assert abs(moved.began_s - start.began_s - seconds) < 1.1e-3


@pytest.mark.parametrize("began", ["2024-05-01", "0001-01-01T00:00:00+14:00", "", "now", "2024-05-01T12:00:31+99:00"])
def test_a_sidecar_cannot_say_nonsense(began) -> None:
    with pytest.raises(ValueError, match="is no date and time"):
        Original(sha256="a" * 64, began=began, began_from="bext", kept=False)
    with pytest.raises(ValueError, match="go together"):
        Original(sha256="a" * 64, began=None, began_from="bext", kept=False)


HOSTILE = {
    "bext beyond the file": (b"", b"bext" + struct.pack("<I", 0x7FFFFFFF) + bext()[8:]),
    "bext of all that 32 bits hold": (b"", b"bext\xff\xff\xff\xff" + bext()[8:]),
    "bext cut before its date": (chunk(b"bext", bext()[8:328]), b""),
    "bext cut in its time": (chunk(b"bext", bext()[8:345]), b""),
    "bext that is empty": (chunk(b"bext", b""), b""),
    "words for digits": (bext(b"MMXX-V---I", b"noon----"), b""),
    "not ASCII": (bext("\uff12\uff10".encode(), "\uff11\uff12".encode()), b""),
    "zeros": (bext(b"0000-00-00", b"00:00:00"), b""),
    "nothing between the digits": (bext(b"2024050112", b"12000000"), b""),
    "a list that promises more": (b"", chunk(b"LIST", b"INFOICRD\xff\xff\xff\xff2024")),
    "a list of another kind": (chunk(b"LIST", b"adtlICRD\x13\0\0\0002024-05-01 12:00:31\0"), b""),
    "a list of parts of no size": (chunk(b"LIST", b"INFO" + b"ICRD\0\0\0\0" * 1000), b""),
    "XML that never ends": (chunk(b"iXML", b"<BWF_ORIGINATION_DATE>" * 1000), b""),
    "XML entities": (chunk(b"iXML", b"<!DOCTYPE a [<!ENTITY b SYSTEM 'file:///etc/passwd'>]><a>&b;</a>"), b""),
    "a tag that promises more": (chunk(b"id3 ", b"ID3\4\0\0\x7f\x7f\x7f\x7fTDRC\x7f\x7f\x7f\x7f"), b""),
    "a tag with a frame of no size": (chunk(b"id3 ", b"ID3\4\0\0" + seven(20) + b"TDRC\0\0\0\0\0\0" * 2), b""),
    "a tag of another version": (chunk(b"id3 ", b"ID3\2" + id3(time="2024-05-01T12:00:31")[4:]), b""),
    "a tag of an unknown encoding": (
        chunk(b"id3 ", b"ID3\4\0\0" + seven(30) + b"TDRC" + seven(20) + b"\0\0\x092024-05-01T12:00:31"), b""),
    "an encrypted frame": (
        chunk(b"id3 ", b"ID3\4\0\0" + seven(30) + b"TDRC" + seven(20) + b"\0\4\x032024-05-01T12:00:31"), b""),
    "no tag": (chunk(b"id3 ", b"I"), b""),
    "sizes after the sound": (b"", chunk(b"ds64", b"short")),
    "sizes of the end of the world": (b"", b"ds64" + b"\xff" * 40),
    "half a header": (b"", b"bex"),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_chunks_give_no_date_and_do_no_harm(tmp_path, name) -> None:
    path = wav(tmp_path / "take.wav", *HOSTILE[name])
    assert read_audio(path)[0].size == SOUND.size
    assert recorder_time(path) is None
    assert original_of(path, kept=False).began is None


def test_an_odd_chunk_is_followed_by_a_byte_that_does_not_count(tmp_path) -> None:
    path = wav(tmp_path / "take.wav", chunk(b"note", b"odd"), chunk(b"note", b"odd") + bext())
    assert recorder_time(path) == said("2024-05-01T12:00:31", "bext")


@pytest.mark.parametrize("header", [b"note\0\0\0\0", bytes(8), b"bext\0\0\0\0", b"LIST\4\0\0\0INFO"])
def test_four_hundred_million_chunks(tmp_path, header) -> None:
    """A hole of 3 GB reads as so many chunks of no name and no size; others are written a million times."""
    path = wav(tmp_path / "take.wav")
    with path.open("ab") as file:
        if header == bytes(8):
            file.truncate(file.tell() + 3 * 10**9)
        else:
            file.write(header * 10**6)
    started = time.process_time()
    assert read_audio(path)[0].size == SOUND.size
    assert recorder_time(path) is None
    assert time.process_time() - started < 5.0  # 10,000 chunks take some hundredths; the rest is for a busy machine


def test_flac_blocks_without_end(tmp_path) -> None:
    """10,000 blocks are looked at; a file with more is refused before anything of it is believed."""
    path = tmp_path / "take.flac"
    flac(path, *[flac_block(1, b"")] * 20_000, comments("DATE=2024-05-01T12:00:31"))
    with pytest.raises(DistortError, match="more than 10000 blocks"):
        read_audio(path)
    promising = comments()[:4] + b"\xff" * 8
    flac(path, promising + bytes(int.from_bytes(promising[1:4], "big") - 8))
    assert recorder_time(path) is None


@settings(max_examples=300, deadline=None)
@given(st.data())
@pytest.mark.sample
def test_whatever_is_spoilt_a_date_is_whole_or_absent(tmp_path_factory, data) -> None:
    """Any bytes of a file with every chunk changed: no exception that is not ours, no date that is none."""
    path = tmp_path_factory.mktemp("spoilt") / "take"
    if data.draw(st.booleans()):
        before, after = everything()
        wav(path, before + info(OTHER[0]) + chunk(b"id3 ", id3(time=OTHER[1])), after + bext())
    else:
        flac(path, comments(f"DATE={OTHER[1]}"), before=id3(time=OTHER[1]))
    content = bytearray(path.read_bytes())
    for at, byte in data.draw(st.lists(st.tuples(st.integers(0, len(content) - 1), st.integers(0, 255)), max_size=40)):
        content[at] = byte
    path.write_bytes(content[: data.draw(st.integers(0, len(content)))])
    try:
        found = recorder_time(path)
    except DistortError:
        return
    if found is not None:
        moment = datetime.fromisoformat(found.began)
        assert 1997 <= moment.year <= datetime.now(UTC).year + 1
        assert MARK not in found.began


def test_a_tag_is_read_as_both_versions_spell_sizes(tmp_path) -> None:
    """Frames before the time of 200 bytes: version 2.4 writes 1, 72 (seven bits each), version 2.3 writes 200."""
    for version, spelled in ((3, struct.pack(">I", 200)), (4, bytes([0, 0, 1, 72]))):
        text = b"TPE1" + spelled + b"\0\0" + b"\0" * 200
        when = b"TDRC" + struct.pack(">I", 20) + b"\0\0\x032024-05-01T12:00:31"
        tag = b"ID3" + bytes([version, 0, 0]) + seven(len(text + when)) + text + when
        path = wav(tmp_path / f"{version}.wav", chunk(b"id3 ", tag))
        assert recorder_time(path) == said("2024-05-01T12:00:31", "ID3")


def test_unsynchronisation_and_an_extended_header(tmp_path) -> None:
    """A zero was put after each 0xFF (section 6.1 of 2.4.0); UTF-16 begins with such a byte, and 2.3 counts it not."""
    text = b"\x01" + "2024-05-01T12:00:31".encode("utf-16")
    for version in (3, 4):
        spelled = text.replace(b"\xff", b"\xff\0")
        size = seven(len(spelled)) if version == 4 else struct.pack(">I", len(text))
        frame = b"TDRC" + size + (b"\0\x02" if version == 4 else b"\0\0") + spelled
        extended = seven(6) + b"\x01\0" if version == 4 else struct.pack(">I", 6) + bytes(6)
        tag = b"ID3" + bytes([version, 0, 0x80 | 0x40]) + seven(len(extended + frame)) + extended + frame
        path = wav(tmp_path / f"{version}.wav", chunk(b"id3 ", tag))
        assert recorder_time(path) == said("2024-05-01T12:00:31", "ID3"), version


def test_a_file_without_any_of_it(tmp_path) -> None:
    assert recorder_time(wav(tmp_path / "take.wav")) is None
    path = tmp_path / "bare.wav"
    path.write_bytes(riff())
    assert recorder_time(path) is None
    assert os.path.getsize(path) == 12


def test_a_size_that_no_file_has(tmp_path) -> None:
    """RF64 states 64 bits, of which systems seek in 63 at most."""
    path = tmp_path / "take.wav"
    sizes = chunk(b"ds64", struct.pack("<QQQI", 2**64 - 1, 2**64 - 1, 2**64 - 1, 0))
    path.write_bytes(b"RF64\xff\xff\xff\xffWAVE" + sizes + bext() + b"data\xff\xff\xff\xff" + bytes(100))
    assert recorder_time(path) == said("2024-05-01T12:00:31", "bext")
    with pytest.raises(DistortError, match=r"truncated|cannot be read"):
        read_audio(path)
