"""The sound of a file is kept bit for bit, and nothing else of it.

Written files are read by the standard library's wave and by scipy, which share nothing with the code under test or with
the library that it reads by.
"""

import resource
import struct
import wave
from pathlib import Path

import numpy as np
import pytest
import scipy.io.wavfile
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from distort.errors import RecordingError, SessionError
from distort.session.audio import plain_copy as plain_audio
from distort.session.audio.audio_file import read_audio
from distort.session.audio.plain_copy import copier
from tests.recorder_files import (
    MARK,
    MARKS,
    SUBFORMAT_END,
    chunk,
    everything,
    extensible,
    flac_everything,
    riff,
    with_blocks,
    with_chunks,
    write_flac,
)

RATE = 48000
N = 1001
"""Odd, so that 24 bits of one channel need a byte of padding."""


def whole_numbers(bits: int, channels: int = 1) -> np.ndarray:
    """Every size of step, both ends of the range and zero, in the upper `bits` of 32."""
    random = np.random.default_rng(4)
    values = random.integers(-(2 ** (bits - 1)), 2 ** (bits - 1), (N, channels), dtype=np.int64)
    values[:3] = [[-(2 ** (bits - 1))] * channels, [2 ** (bits - 1) - 1] * channels, [0] * channels]
    return (values << (32 - bits)).astype(np.int32)


def copied(source: Path, *, keep_metadata: bool = False) -> Path:
    suffix, write = copier(source, keep_metadata=keep_metadata)
    place = source.with_name(f"copy{suffix}")
    write(place)
    return place


def chunk_names(path: Path) -> list[bytes]:
    """As RIFF lays them out: name, size, content, at even bytes."""
    content, names, at = path.read_bytes(), [], 12
    while at < len(content):
        names.append(content[at : at + 4])
        size = struct.unpack("<I", content[at + 4 : at + 8])[0]
        at += 8 + size + size % 2
    assert at == len(content) == 8 + struct.unpack("<I", content[4:8])[0]
    return names


def without_marks(path: Path) -> bool:
    content = path.read_bytes()
    return not any(mark in content for mark in MARKS)


@pytest.mark.parametrize("bits", [16, 24, 32])
@pytest.mark.parametrize("channels", [1, 2, 5])
@pytest.mark.parametrize("container", ["WAV", "WAVEX"])
def test_whole_numbers_in_wav(tmp_path, bits, channels, container) -> None:
    source = tmp_path / "take.wav"
    samples = whole_numbers(bits, channels)
    soundfile.write(source, samples, RATE, subtype=f"PCM_{bits}", format=container)
    with_chunks(source, *everything())
    assert not without_marks(source)
    copy = copied(source)
    assert without_marks(copy)
    assert chunk_names(copy) == [b"fmt ", b"data"]
    info = soundfile.info(copy)
    assert (info.format, info.subtype, info.samplerate) == (container, f"PCM_{bits}", RATE)
    assert np.array_equal(soundfile.read(copy, dtype="int32", always_2d=True)[0], samples)
    rate, read = scipy.io.wavfile.read(copy)
    assert rate == RATE
    top = 32 if bits > 16 else 16  # scipy fills 32 bits from the top with 24
    assert np.array_equal(read.reshape(N, channels).astype(np.int64) << (32 - top), samples)
    if container == "WAV":
        with wave.open(str(copy)) as opened:
            assert (opened.getnchannels(), opened.getsampwidth(), opened.getnframes()) == (channels, bits // 8, N)


@pytest.mark.parametrize(("subtype", "kind"), [("FLOAT", "<f4"), ("DOUBLE", "<f8")])
def test_floating_point_in_wav(tmp_path, subtype, kind) -> None:
    """Beyond full scale, the smallest numbers, minus zero, what is no number in another channel: the same bytes."""
    source = tmp_path / "take.wav"
    samples = np.random.default_rng(5).standard_normal((N, 2)).astype(kind)
    samples[:5, 0] = [0.0, -0.0, np.finfo(kind).smallest_subnormal, 7.5, -1.0]
    samples[:2, 1] = [np.nan, np.inf]
    soundfile.write(source, samples, RATE, subtype=subtype)
    with_chunks(source, *everything())
    copy = copied(source)
    assert without_marks(copy)
    assert chunk_names(copy) == [b"fmt ", b"fact", b"data"]
    assert soundfile.info(copy).subtype == subtype
    assert scipy.io.wavfile.read(copy)[1].tobytes() == samples.tobytes()


@pytest.mark.parametrize(("container", "valid"), [(32, 24), (32, 32), (32, 20), (24, 20), (24, 24), (16, 12)])
@pytest.mark.parametrize("form", [b"RIFF", b"RIFX", b"RF64"])
def test_valid_bits_are_kept(tmp_path, container, valid, form) -> None:
    """The bits that count stand in bytes 18 and 19 of the extensible format, the speakers in the next four."""
    source = tmp_path / "take.wav"
    samples = whole_numbers(valid, 2)
    source.write_bytes(extensible(samples, RATE, container=container, valid=valid, form=form))
    assert np.array_equal(soundfile.read(source, dtype="int32")[0], samples)
    copy = copied(source)
    assert without_marks(copy)
    content = copy.read_bytes()
    at = content.index(b"fmt ") + 8
    assert struct.unpack("<HHIIHHHHIIHH", content[at : at + 32]) == (
        *(0xFFFE, 2, RATE, RATE * 2 * container // 8, 2 * container // 8, container),
        *(22, valid, 0x4, 1, 0, 0x10),
    )
    assert content[at + 32 : at + 40] == SUBFORMAT_END
    assert np.array_equal(soundfile.read(copy, dtype="int32")[0], samples)


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
@pytest.mark.parametrize("channels", [1, 2])
def test_flac(tmp_path, subtype, channels) -> None:
    source = tmp_path / "take.flac"
    samples = whole_numbers(int(subtype[4:]), channels)
    soundfile.write(source, samples, RATE, subtype=subtype)
    header = source.read_bytes()[8:42]
    with_blocks(source, *flac_everything(), after=MARK.encode())
    copy = copied(source)
    assert copy.suffix == ".flac"
    assert without_marks(copy)
    assert soundfile.info(copy).subtype == subtype
    assert np.array_equal(soundfile.read(copy, dtype="int32", always_2d=True)[0], samples)
    # the MD5 of all samples that the encoder states (RFC 9639, section 8.2) is that of the source
    assert copy.read_bytes()[8:42][18:] == header[18:]


def test_flac_of_a_rate_that_the_encoder_refuses_becomes_wav(tmp_path) -> None:
    """RFC 9639, section 9.1.2: a frame states up to 65,535 Hz, or tens of hertz up to 655,350; beyond, its header."""
    source = tmp_path / "take.flac"
    samples = whole_numbers(24)
    soundfile.write(source, samples, RATE, subtype="PCM_24")
    content = bytearray(source.read_bytes())
    content[18:21] = (705_600 << 4 | content[20] & 0xF).to_bytes(3, "big")
    source.write_bytes(content)
    copy = copied(source)
    info = soundfile.info(copy)
    assert (copy.suffix, info.format, info.subtype, info.samplerate) == (".wav", "WAV", "PCM_24", 705_600)
    assert np.array_equal(soundfile.read(copy, dtype="int32", always_2d=True)[0], samples)


def test_the_ending_is_that_of_what_the_file_is(tmp_path) -> None:
    source = write_flac(tmp_path / "take.flac", 0.1 * np.ones(N), RATE).rename(tmp_path / "take.wav")
    assert copied(source).suffix == ".flac"


def test_bytes_behind_the_last_sample_are_not_kept(tmp_path) -> None:
    """A data chunk that holds no whole number of frames; more behind what the form says; words in the format itself."""
    source = tmp_path / "take.wav"
    sound = whole_numbers(24, 2).view(np.uint8).reshape(-1, 4)[:, 1:].tobytes()
    form = struct.pack("<HHIIHHH", 1, 2, RATE, 6 * RATE, 6, 24, len(MARK)) + MARK.encode()
    source.write_bytes(riff(chunk(b"fmt ", form), chunk(b"data", sound + MARK.encode())) + MARK.encode())
    copy = copied(source)
    assert without_marks(copy)
    assert np.array_equal(soundfile.read(copy, dtype="int32")[0], whole_numbers(24, 2))


def test_a_header_of_an_unfinished_file(tmp_path) -> None:
    """A program that streams states a size of 0xFFFFFFFF and ends where it ends."""
    source = tmp_path / "take.wav"
    soundfile.write(source, whole_numbers(24), RATE, subtype="PCM_24")
    content = source.read_bytes()
    at = content.index(b"data") + 4
    source.write_bytes(content[:4] + b"\xff" * 4 + content[8:at] + b"\xff" * 4 + content[at + 4 : at + 4 + 3 * N])
    copy = copied(source)
    assert chunk_names(copy) == [b"fmt ", b"data"]
    assert np.array_equal(soundfile.read(copy, dtype="int32", always_2d=True)[0], whole_numbers(24))


@pytest.mark.parametrize("frames", [2**32 // 8 - 6, 2**32 // 8 - 5, 2**32 // 8, 2**33 // 8 + 1])
def test_beyond_4_gib(tmp_path, frames) -> None:
    """RF64 (EBU Tech 3306) where 32 bits do not hold the size; the library reads all frames of a file of that size."""

    sound = plain_audio._Sound(
        as_flac=False, subtype="PCM_32", sample_rate=RATE, channels=2, frames=frames, extensible=None
    )
    header = plain_audio._header(sound)
    size = len(header) + 8 * frames
    assert header[:4] == (b"RIFF" if size - 8 < 2**32 - 1 else b"RF64")
    path = tmp_path / "long.wav"
    with path.open("wb") as file:  # a hole takes no room on the disk
        file.write(header)
        file.truncate(size)
    info = soundfile.info(path)
    assert (info.frames, info.channels, info.subtype) == (frames, 2, "PCM_32")
    if header[:4] == b"RF64":
        assert struct.unpack("<QQQ", header[20:44]) == (size - 8, 8 * frames, frames)


def test_the_same_sound_gives_the_same_bytes(tmp_path) -> None:
    """However it is wrapped, so that the hash of what is kept tells the sound."""
    copies = set()
    for name, form in enumerate((b"RIFF", b"RIFX", b"RF64")):
        source = tmp_path / f"{name}.wav"
        source.write_bytes(extensible(whole_numbers(24, 2), RATE, container=32, valid=24, form=form))
        copies.add(copied(source).read_bytes())
    assert len(copies) == 1


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
@pytest.mark.parametrize("missing", [1, 5000])
def test_a_disk_that_is_full_before_the_last_byte_is_told(tmp_path, suffix, missing) -> None:
    """The library closes a FLAC file without a word although the system took only a part of it."""
    source = tmp_path / f"take{suffix}"
    soundfile.write(source, np.tile(whole_numbers(24), (20, 1)), RATE, subtype="PCM_24")
    place = copied(source)
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (place.stat().st_size - missing, limits[1]))
    try:
        with pytest.raises((SessionError, OSError), match=r"cannot be written|File too large"):
            copied(source)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)


def test_what_is_asked_for_is_kept(tmp_path) -> None:
    source = write_flac(tmp_path / "TAKE.FLAC", 0.1 * np.ones(N), RATE)
    assert copied(source, keep_metadata=True).read_bytes() == source.read_bytes()


def test_a_damaged_file_is_refused(tmp_path) -> None:
    source = tmp_path / "take.flac"
    soundfile.write(source, whole_numbers(24), RATE, subtype="PCM_24")
    content = bytearray(source.read_bytes())
    content[30] ^= 1  # of the MD5 in the header
    source.write_bytes(content)
    with pytest.raises(RecordingError, match="damaged"):
        copied(source)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.binary(min_size=4, max_size=4), st.binary(max_size=40)), max_size=6),
    st.lists(st.tuples(st.binary(min_size=4, max_size=4), st.binary(max_size=40)), max_size=6),
    st.sampled_from(["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"]),
)
def test_whatever_surrounds_it_the_sound_is_the_same(tmp_path_factory, before, after, subtype) -> None:
    """Any chunks around a sound: the copy has its bytes and none of theirs, or the file is refused as it is today."""
    folder = tmp_path_factory.mktemp("any")
    bare, source = folder / "bare.wav", folder / "take.wav"
    soundfile.write(bare, 0.5 * np.sin(np.arange(64)), RATE, subtype=subtype)
    source.write_bytes(bare.read_bytes())
    with_chunks(source, *(b"".join(chunk(*one) for one in part) for part in (before, after)))
    try:
        samples, _ = read_audio(source)
    except RecordingError:
        return
    copy = copied(source)
    assert read_audio(copy)[0].tobytes() == samples.tobytes()
    assert copy.read_bytes() == copied(bare).read_bytes()


def test_a_rate_that_no_32_bits_hold_a_second_of(tmp_path) -> None:
    """1,024 channels of 64 bits at the highest rate that is read: more bytes a second than the header's field holds."""
    source = tmp_path / "take.wav"
    soundfile.write(source, np.zeros((3, 1024)), 768_000, subtype="DOUBLE")
    info = soundfile.info(copied(source))
    assert (info.frames, info.channels, info.samplerate) == (3, 1024, 768_000)
