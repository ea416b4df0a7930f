"""Audio in and out: what is kept exactly, and the sentence for each file that cannot be believed."""

import struct
import wave
from itertools import islice
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.errors import RecordingError, SessionError
from distort.session.audio import audio_file as audio
from distort.session.audio.audio_file import read_audio, write_audio

SEED = 20
SAMPLES = np.random.default_rng(SEED).uniform(-0.9, 0.9, 4800)

BITS = {"PCM_16": 16, "PCM_24": 24, "PCM_32": 32}


def refusal(path: Path, **options: int) -> str:
    with pytest.raises(RecordingError) as caught:
        read_audio(path, **options)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
@pytest.mark.parametrize("container", ["WAV", "WAVEX", "RF64", "FLAC"])
def test_every_kind_of_file_is_read_exactly(tmp_path: Path, container: str, subtype: str) -> None:
    """The library is given whole steps, or floats of the file's own precision, so nothing is rounded on the way in."""
    if not soundfile.check_format(container, subtype):
        assert container == "FLAC"
        return
    path = tmp_path / "a.wav"
    if subtype in BITS:
        steps = np.rint(SAMPLES * 2 ** (BITS[subtype] - 1)).astype(np.int32)
        soundfile.write(path, steps << (32 - BITS[subtype]), 44100, subtype=subtype, format=container)
        expected = steps / 2.0 ** (BITS[subtype] - 1)
    else:
        expected = SAMPLES.astype(np.float32 if subtype == "FLOAT" else np.float64)
        soundfile.write(path, expected, 44100, subtype=subtype, format=container)
    samples, sample_rate = read_audio(path)
    assert sample_rate == 44100
    assert samples.dtype == np.float64
    assert np.array_equal(samples, expected)


def test_the_scale_of_integers_is_that_of_two_s_complement(tmp_path: Path) -> None:
    """16-bit samples written by the standard library: -32768 is -1, 16384 is one half."""
    path = tmp_path / "a.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(48000)
        file.writeframes(struct.pack("<4h", -32768, 16384, 1, 0))
    assert read_audio(path)[0].tolist() == [-1.0, 0.5, 2.0**-15, 0.0]


def test_a_channel_is_counted_from_one_and_never_guessed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(audio, "BLOCK_SAMPLES", 1000)  # several blocks, the last one shorter
    path = tmp_path / "a.wav"
    soundfile.write(path, np.column_stack([SAMPLES, -SAMPLES, 0.5 * SAMPLES]), 48000, subtype="DOUBLE")
    assert np.array_equal(read_audio(path, channel=3)[0], 0.5 * SAMPLES)
    assert np.array_equal(read_audio(path, channel=1)[0], SAMPLES)
    assert "has 3 channels: say with --channel which one" in refusal(path)
    assert "has no channel 4: it has 3" in refusal(path, channel=4)
    assert "has no channel 0" in refusal(path, channel=0)


def test_missing_and_not_audio(tmp_path: Path) -> None:
    assert "is missing" in refusal(tmp_path / "none.wav")
    assert "is a folder" in refusal(tmp_path)
    for name, content in [("a.wav", b"RIFF"), ("b.flac", b"fLaC"), ("c.wav", b"plain text")]:
        (tmp_path / name).write_bytes(content)
        assert "cannot be read as WAV or FLAC audio" in refusal(tmp_path / name)


def test_empty(tmp_path: Path) -> None:
    """Of no sample at all the library makes a FLAC file without a byte."""
    soundfile.write(tmp_path / "a.wav", np.zeros(0), 48000, subtype="PCM_24")
    assert "is empty: it holds no sample" in refusal(tmp_path / "a.wav")
    (tmp_path / "b.wav").write_bytes(b"")
    assert "is empty: it holds no byte" in refusal(tmp_path / "b.wav")
    soundfile.write(tmp_path / "a.flac", np.zeros(0), 48000, subtype="PCM_24")
    assert "is empty: it holds no byte" in refusal(tmp_path / "a.flac")


@pytest.mark.parametrize(
    ("container", "subtype", "said"),
    [("AIFF", "PCM_16", "is AIFF"), ("OGG", "VORBIS", "is OGG"), ("WAV", "ULAW", "ULAW"), ("WAV", "PCM_U8", "PCM_U8")],
)
def test_kinds_that_do_not_keep_a_recording(tmp_path: Path, container: str, subtype: str, said: str) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, SAMPLES, 48000, subtype=subtype, format=container)
    assert said in refusal(path)


@pytest.mark.parametrize("rate", [1, 7999, 768_001, 2_000_000_000])
def test_rates_that_no_recorder_has(tmp_path: Path, rate: int) -> None:
    soundfile.write(tmp_path / "a.wav", SAMPLES, rate)
    assert f"states a sample rate of {rate} Hz, outside 8000 to 768000" in refusal(tmp_path / "a.wav")


@pytest.mark.parametrize("container", ["WAV", "WAVEX", "RF64", "FLAC"])
@pytest.mark.parametrize("lost", [1, 3000])
def test_truncated(tmp_path: Path, container: str, lost: int) -> None:
    """Also by a single byte: of a copy that broke off, nobody knows how much is missing."""
    path = tmp_path / "a.wav"
    soundfile.write(path, SAMPLES, 48000, subtype="PCM_24", format=container)
    content = path.read_bytes()
    assert read_audio(path)[0].size == SAMPLES.size
    path.write_bytes(content[:-lost])
    assert "truncated" in refusal(path)


@pytest.mark.parametrize("samples_promised", [4801, 10_000])
def test_a_flac_file_that_ends_whole_but_early(tmp_path: Path, samples_promised: int) -> None:
    """As when it breaks off between two frames: each frame is sound, and there are too few."""
    path = tmp_path / "a.flac"
    soundfile.write(path, SAMPLES, 48000, subtype="PCM_24")
    content = bytearray(path.read_bytes())
    content[22:26] = struct.pack(">I", samples_promised)  # RFC 9639, section 8.2: the low 32 bits of the total
    path.write_bytes(content)
    assert f"truncated or damaged: not all of its {samples_promised} samples" in refusal(path)


def test_a_library_that_stops_without_a_word(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Older versions do so: the rest of the array must not be taken for sound."""
    path = tmp_path / "a.flac"
    soundfile.write(path, SAMPLES, 48000, subtype="PCM_24")
    monkeypatch.setattr(audio, "BLOCK_SAMPLES", 1000)
    whole = soundfile.SoundFile.blocks
    monkeypatch.setattr(soundfile.SoundFile, "blocks", lambda *given, **named: islice(whole(*given, **named), 3))
    assert "promises 4800 samples and holds 3000" in refusal(path)


def test_truncated_before_the_audio(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, SAMPLES, 48000, subtype="PCM_24")
    path.write_bytes(path.read_bytes()[:40])
    assert "damaged" in refusal(path)


def test_chunks_before_and_after_the_audio_do_not_count(tmp_path: Path) -> None:
    """A chunk of odd length before the data, padded to even, and one after: as RIFF has it."""
    path = tmp_path / "a.wav"
    data = struct.pack("<3h", 100, 200, 300)
    form = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, 48000, 96000, 2, 16)
    chunks = (
        form + b"junk" + struct.pack("<I", 3) + b"abc\0" + b"data" + struct.pack("<I", 6) + data + b"LIST\4\0\0\0abcd"
    )
    path.write_bytes(b"RIFF" + struct.pack("<I", 4 + len(chunks)) + b"WAVE" + chunks)
    assert (read_audio(path)[0] * 2**15).tolist() == [100.0, 200.0, 300.0]


def test_what_no_converter_can_have_made_is_refused(tmp_path: Path) -> None:
    samples = SAMPLES.copy()
    samples[7] = -1e300  # the square of which is no number
    soundfile.write(tmp_path / "a.wav", samples, 48000, subtype="DOUBLE")
    assert "a sample of 1e+300 times full scale (sample 7)" in refusal(tmp_path / "a.wav")
    samples[7] = 2.0**31  # whole numbers of 32 bits, written as they are
    soundfile.write(tmp_path / "b.wav", samples, 48000, subtype="DOUBLE")
    assert "export it again so that full scale is 1" in refusal(tmp_path / "b.wav")


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_a_float_file_with_what_is_no_number(tmp_path: Path, value: float) -> None:
    samples = SAMPLES.copy()
    samples[1234] = value
    soundfile.write(tmp_path / "a.wav", samples, 48000, subtype="FLOAT")
    assert "not a number (sample 1234)" in refusal(tmp_path / "a.wav")


def test_absurd_length_is_refused_before_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A FLAC header that promises 2^36 - 1 samples: 512 GB as float64."""
    path = tmp_path / "a.flac"
    soundfile.write(path, SAMPLES, 48000, subtype="PCM_24")
    content = bytearray(path.read_bytes())
    # STREAMINFO begins at byte 8; its total of samples is the low 36 bits of bytes 18 to 25 (RFC 9639, section 8.2).
    content[21] |= 0x0F
    content[22:26] = b"\xff" * 4
    path.write_bytes(content)
    monkeypatch.setattr(np, "empty", None)
    assert "172800000 samples" in refusal(path)


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_24_bits_without_dither_keep_every_step(tmp_path: Path, suffix: str) -> None:
    steps = np.array([-(2**23), 2**23 - 1, 0, 1, -1, 12345, -54321])
    write_audio(tmp_path / f"a{suffix}", steps / 2**23, 96000)
    samples, sample_rate = read_audio(tmp_path / f"a{suffix}")
    assert (samples * 2**23).tolist() == steps.tolist()
    assert sample_rate == 96000
    assert soundfile.info(tmp_path / f"a{suffix}").subtype == "PCM_24"


def test_floats_are_kept_beyond_full_scale(tmp_path: Path) -> None:
    write_audio(tmp_path / "a.wav", 3 * SAMPLES, 48000, subtype="FLOAT")
    assert np.array_equal(read_audio(tmp_path / "a.wav")[0], (3 * SAMPLES).astype(np.float32))


def test_dither_is_triangular_and_made_again_by_its_seed(tmp_path: Path) -> None:
    """Dithered to whole steps, the error has mean 0 and variance 1/4 step^2, whatever lies between the steps.

    Lipshitz, Wannamaker and Vanderkooy, J. Audio Eng. Soc. 40(5), 1992: 1/12 of rounding and 1/6 of the dither.
    200,000 values state the variance to 0.4 % s.d. and the mean to 0.0011 steps: allowed are five of either.
    """
    for share in (0.0, 0.25, 0.5):
        path = tmp_path / f"{share}.wav"
        write_audio(path, np.full(200_000, (1000 + share) / 2**23), 48000, dither_seed=7)
        error = read_audio(path)[0] * 2**23 - (1000 + share)
        assert abs(np.mean(error)) < 0.006
        assert abs(np.var(error) / 0.25 - 1) < 0.02
        assert np.max(np.abs(error)) <= 1.5
    write_audio(tmp_path / "again.wav", np.full(200_000, 1000.5 / 2**23), 48000, dither_seed=7)
    write_audio(tmp_path / "other.wav", np.full(200_000, 1000.5 / 2**23), 48000, dither_seed=8)
    assert (tmp_path / "again.wav").read_bytes() == (tmp_path / "0.5.wav").read_bytes()
    assert (tmp_path / "other.wav").read_bytes() != (tmp_path / "0.5.wav").read_bytes()


def test_dither_at_full_scale_does_not_wrap(tmp_path: Path) -> None:
    write_audio(tmp_path / "a.wav", np.concatenate([np.ones(1000), -np.ones(1000)]), 48000, dither_seed=1)
    samples, _ = read_audio(tmp_path / "a.wav")
    assert np.min(samples[:1000]) > 1 - 4 * 2.0**-23  # two steps of dither, one of the missing top value, half rounding
    assert np.max(samples[1000:]) < -1 + 4 * 2.0**-23


@pytest.mark.parametrize(
    ("name", "samples", "options", "said"),
    [
        ("a.mp3", SAMPLES, {}, "cannot hold PCM_24"),
        ("a.flac", SAMPLES, {"subtype": "FLOAT"}, "cannot hold FLOAT"),
        ("a.wav", np.zeros(0), {}, "at least one sample"),
        ("a.wav", np.zeros((2, 9)), {}, "one channel"),
        ("a.wav", np.array([0.0, np.nan]), {"subtype": "FLOAT"}, "sample 1 is not a number"),
        ("a.wav", np.array([0.0, 1.0001]), {}, "beyond full scale"),
        ("a.wav", SAMPLES, {"sample_rate": 0}, "cannot be written"),
    ],
)
def test_what_cannot_be_written(
    tmp_path: Path, name: str, samples: np.ndarray, options: dict[str, object], said: str
) -> None:
    arguments: dict[str, object] = {"sample_rate": 48000, **options}
    with pytest.raises(SessionError, match=said):
        write_audio(tmp_path / name, samples, **arguments)  # type: ignore[arg-type]
    assert list(tmp_path.iterdir()) == []


def test_a_file_is_replaced_only_when_told(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    write_audio(path, SAMPLES, 48000)
    before = path.read_bytes()
    with pytest.raises(SessionError, match="never overwritten"):
        write_audio(path, -SAMPLES, 48000)
    assert path.read_bytes() == before
    write_audio(path, -SAMPLES, 48000, replace=True)
    assert path.read_bytes() != before


def test_the_caller_s_samples_are_left_alone(tmp_path: Path) -> None:
    mine = SAMPLES.copy()
    write_audio(tmp_path / "a.wav", mine, 48000, dither_seed=1)
    assert np.array_equal(mine, SAMPLES)
