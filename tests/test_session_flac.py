"""FLAC files that do not decode to what was encoded are refused, wherever they are cut, and whole ones are not.

Frames are found by what RFC 9639 says of their headers (section 9.1): the sync code, and a CRC-8 of x^8 + x^2 + x + 1.
Files are written by libFLAC, which states the MD5 of section 8.2; nothing here is read by the code under test alone.
"""

import hashlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.errors import RecordingError
from distort.session.audio.audio_file import read_audio
from distort.session.audio.integrity import _coded, samples_in_a_row, stream_info
from distort.session.audio.long_recording import open_long

N_SAMPLES = 60_000
INFO = 8
"""Where STREAMINFO begins: after "fLaC" and the header of the first block."""


def encoded(path: Path, *, channels: int = 1, subtype: str = "PCM_24") -> bytes:
    samples = 0.1 * np.random.default_rng(5).standard_normal((N_SAMPLES, channels))
    soundfile.write(path, samples, 48_000, subtype=subtype, format="FLAC")
    return path.read_bytes()


def crc_8(content: bytes) -> int:
    value = 0
    for byte in content:
        value ^= byte
        for _ in range(8):
            value = (value << 1 ^ 0x07) & 0xFF if value & 0x80 else value << 1 & 0xFF
    return value


def frames(content: bytes) -> list[int]:
    """Where frames begin. Their header: 4 bytes, the frame's number (1 or 2 bytes here), a block size at the end."""
    found = []
    at = content.find(b"\xff\xf8")
    while at >= 0:
        long_number, block_size = content[at + 4] >= 0x80, content[at + 2] >> 4
        length = 4 + (2 if long_number else 1) + {6: 1, 7: 2}.get(block_size, 0)
        if crc_8(content[at : at + length]) == content[at + length]:
            found.append(at)
        at = content.find(b"\xff\xf8", at + 1)
    return found


def with_length(content: bytes, n_samples: int) -> bytes:
    """Another number of samples in the header: the lower 36 bits of 8 bytes (section 8.2)."""
    at = INFO + 10
    stated = int.from_bytes(content[at : at + 8], "big") >> 36 << 36 | n_samples
    return content[:at] + stated.to_bytes(8, "big") + content[at + 8 :]


def without_md5(content: bytes) -> bytes:
    return content[: INFO + 18] + bytes(16) + content[INFO + 34 :]


def without_frame(content: bytes, number: int) -> bytes:
    at = frames(content)
    return content[: at[number]] + content[at[number + 1] :]


def with_a_frame_twice(content: bytes) -> bytes:
    at = frames(content)
    return content[: at[6]] + content[at[3] : at[4]] + content[at[7] :]


DAMAGES: dict[str, Callable[[bytes], bytes]] = {
    "half": lambda content: content[: len(content) // 2],
    "cut between frames": lambda content: content[: frames(content)[5]],
    "cut between frames, length made to fit": lambda content: with_length(content[: frames(content)[5]], 5 * 4096),
    "the last frame": lambda content: content[: frames(content)[-1]],
    "a frame in the middle": lambda content: without_frame(content, 5),
    "the first frame": lambda content: without_frame(content, 0),
    "a frame replaced by another": with_a_frame_twice,
    "length": lambda content: with_length(content, N_SAMPLES + 1),
    "length doubled": lambda content: with_length(content, 2 * N_SAMPLES),
    "length halved": lambda content: with_length(content, N_SAMPLES // 2),
    "no checksum, the last frame": lambda content: without_md5(content[: frames(content)[-1]]),
    "no checksum, a frame in the middle": lambda content: without_md5(without_frame(content, 5)),
    "no checksum, the first frame": lambda content: without_md5(without_frame(content, 0)),
    "no checksum, length doubled": lambda content: with_length(without_md5(content), 2 * N_SAMPLES),
    "no header": lambda content: content[:4] + b"\x01" + content[5:],
}


@pytest.mark.parametrize("damage", DAMAGES)
@pytest.mark.parametrize("channels", [1, 2])
def test_what_does_not_decode_to_what_was_encoded_is_refused(tmp_path, damage, channels) -> None:
    path = tmp_path / "take.flac"
    path.write_bytes(DAMAGES[damage](encoded(path, channels=channels)))
    with pytest.raises(RecordingError, match=r"^\S+take\.flac .*(copy it again|export it as WAV)"):
        read_audio(path, channel=1)
    with (
        pytest.raises(RecordingError, match=r"^\S+take\.flac .*(copy it again|export it as WAV)"),
        open_long(path, channel=1) as recording,
    ):
        recording.part(0, recording.n_samples)


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
@pytest.mark.parametrize("channels", [1, 2, 3])
def test_a_whole_file_is_read_to_the_last_bit(tmp_path, subtype, channels) -> None:
    path = tmp_path / "take.flac"
    content = encoded(path, channels=channels, subtype=subtype)
    wanted, _ = soundfile.read(path, always_2d=True)
    for spelled in (content, without_md5(content), content + b"more"):
        path.write_bytes(spelled)
        for channel in range(channels):
            samples, rate = read_audio(path, channel=channel + 1)
            assert rate == 48_000
            assert samples.tobytes() == np.ascontiguousarray(wanted[:, channel]).tobytes()


def test_the_header_as_the_encoder_wrote_it(tmp_path) -> None:
    path = tmp_path / "take.flac"
    encoded(path, channels=2, subtype="PCM_16")
    stated = stream_info(path)
    stored, _ = soundfile.read(path, dtype="int16")
    assert stated.bits == 16
    assert stated.first_frame == frames(path.read_bytes())[0]
    assert stated.md5 == hashlib.md5(stored.astype("<i2").tobytes(), usedforsecurity=False).digest()


def test_a_tag_before_the_header_is_passed_over(tmp_path) -> None:
    """ID3v2.4.0, section 3.1: ten bytes, the size of what follows in four times seven bits."""
    path = tmp_path / "take.flac"
    content = encoded(path)
    path.write_bytes(b"ID3\x04\x00\x00\x00\x00\x01\x48" + bytes(200) + content)
    samples, _ = read_audio(path)
    assert samples.size == N_SAMPLES
    assert stream_info(path).bits == 24


def test_silence_is_believed_where_the_checksum_speaks_for_it(tmp_path) -> None:
    path = tmp_path / "take.flac"
    samples = 0.1 * np.random.default_rng(5).standard_normal(N_SAMPLES)
    samples[10_000:30_000] = 0.0
    soundfile.write(path, samples, 48_000, subtype="PCM_24")
    assert np.count_nonzero(read_audio(path)[0]) > 39_000


@pytest.mark.parametrize(
    ("number", "spelled"),
    [
        # characters as Python spells them in UTF-8 (RFC 3629), at both ends of each length
        *((code, chr(code).encode("utf-8")) for code in (0, 0x7F, 0x80, 0x7FF, 0x800, 0xFFFF, 0x10000, 0x10FFFF)),
        # beyond UTF-8, by hand from the pattern of RFC 9639, section 9.1.5
        (0x1FFFFF, b"\xf7\xbf\xbf\xbf"),
        (0x200000, b"\xf8\x88\x80\x80\x80"),
        (0x4000000, b"\xfc\x84\x80\x80\x80\x80"),
        (0x80000000, b"\xfe\x82\x80\x80\x80\x80\x80"),
        (0xFFFFFFFFF, b"\xfe\xbf\xbf\xbf\xbf\xbf\xbf"),
    ],
)
def test_numbers_of_frames_are_spelled_as_the_standard_says(number, spelled) -> None:
    assert _coded(number) == spelled


@pytest.mark.parametrize("rate", [8_000, 44_100, 48_000, 88_200, 96_000, 12_345, 47_990])
@pytest.mark.parametrize("n_samples", [1, 15, 4096, 4097, 600_000])
def test_all_samples_of_whole_files_are_counted(tmp_path, rate, n_samples) -> None:
    """Rates and lengths that headers spell in other ways, against the number that was written."""
    path = tmp_path / "take.flac"
    samples = 0.1 * np.random.default_rng(6).standard_normal(n_samples)
    soundfile.write(path, samples, rate, subtype="PCM_16")
    assert samples_in_a_row(path, stream_info(path).first_frame) == n_samples
