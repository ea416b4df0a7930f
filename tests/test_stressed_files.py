"""Recordings that cannot be right, or whose channel, rate or container must be told: one sentence, nothing lost."""

from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile

from distort.recording.quality.clipping import clipped_samples
from distort.session.audio import audio_file as audio
from signals import Sweep
from tests.clumsy_session import AS_THE_SWEEP, CommandLine
from tests.devices.stressed import recording_of, session_at

RATE = 48000


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture(scope="module")
def stressed(tmp_path_factory) -> tuple[Path, np.ndarray]:
    """A session, and a sound recording of its sweep."""
    session = session_at(tmp_path_factory.mktemp("stressed") / "monitor", RATE)
    sound = recording_of(session)
    return session, sound + 1e-5 * np.random.default_rng(1).standard_normal(sound.size)


def refused(distort: CommandLine, session: Path, take: Path, *words: str) -> str:
    """The sentence by which the recording is refused; the session stays as it was."""
    return distort.refused("add", session, take, *AS_THE_SWEEP, *words, inside=session)


@pytest.mark.parametrize("rate", [8000, 11025, 22050, 32000])
def test_a_recording_at_too_low_a_rate_is_told_as_that(distort, stressed, tmp_path, rate) -> None:
    """Not as lost or repeated samples; and not read where it holds nothing."""
    session, sound = stressed
    whole = sound[: sound.size // 1920 * 1920]  # divides into samples at every rate
    take = tmp_path / "take.wav"
    soundfile.write(take, scipy.signal.resample(whole, whole.size * rate // RATE), rate, subtype="FLOAT")
    sentence = refused(distort, session, take)
    assert f"recorded at {rate} Hz and holds nothing above {rate / 2:g} Hz" in sentence
    assert "record at 48000 Hz" in sentence


def test_a_low_rate_that_the_header_only_states_is_told_as_wrong(distort, stressed, tmp_path) -> None:
    session, sound = stressed
    soundfile.write(tmp_path / "take.wav", sound, 32000, subtype="FLOAT")
    assert "states 32000 Hz, but holds the stimulus as recorded at 48000 Hz" in refused(
        distort, session, tmp_path / "take.wav"
    )


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (np.nan, "not a number (sample 1000)"),
        (-np.inf, "not a number (sample 1000)"),
        (1e300, "1e+300 times full scale (sample 1000)"),
        (-32768.0, "3.28e+04 times full scale (sample 1000)"),
    ],
)
def test_a_sample_that_is_no_sound_is_refused(distort, stressed, tmp_path, value, words) -> None:
    session, sound = stressed
    spoilt = sound.copy()
    spoilt[1000] = value
    soundfile.write(tmp_path / "take.wav", spoilt, RATE, subtype="DOUBLE")
    assert words in refused(distort, session, tmp_path / "take.wav")


def test_nothing_but_denormal_samples_is_silence(distort, stressed, tmp_path) -> None:
    session, sound = stressed
    soundfile.write(tmp_path / "take.wav", sound * 1e-308, RATE, subtype="DOUBLE")
    assert "silent" in refused(distort, session, tmp_path / "take.wav")


@pytest.mark.first(1)
@pytest.mark.parametrize("channels", [2, 8, 32])
def test_the_channel_is_asked_for_and_a_wrong_one_is_told(distort, stressed, tmp_path, channels) -> None:
    session, sound = stressed
    others = 1e-3 * np.random.default_rng(2).standard_normal((sound.size, channels - 1))
    take = tmp_path / "take.wav"
    soundfile.write(take, np.column_stack([others, sound]), RATE, subtype="FLOAT")
    assert f"{channels} channels: say with --channel" in refused(distort, session, take)
    assert f"no channel {channels + 1}" in refused(distort, session, take, "--channel", str(channels + 1))
    assert "nothing but noise" in refused(distort, session, take, "--channel", "1")
    np.testing.assert_array_equal(audio.read_audio(take, channel=channels)[0], np.float32(sound))


@pytest.mark.parametrize("container", ["W64", "CAF", "AIFF"])
def test_other_containers_are_refused_by_name(distort, stressed, tmp_path, container) -> None:
    session, sound = stressed
    take = tmp_path / f"take.{container.lower()}"
    soundfile.write(take, sound, RATE, subtype="PCM_24", format=container)
    assert f"is {container}: bring the recording as WAV or FLAC" in refused(distort, session, take)


@pytest.mark.parametrize("container", ["WAV", "WAVEX", "RF64", "FLAC"])
@pytest.mark.parametrize("bits", [16, 24])
def test_accepted_containers_give_the_samples_that_were_written(tmp_path, stressed, container, bits) -> None:
    """Written as whole steps, so that no scaling of the writer stands between."""
    _, sound = stressed
    steps = np.rint(sound * 2.0 ** (bits - 1)).astype(np.int32)
    take = tmp_path / "take"
    soundfile.write(take, steps << (32 - bits), RATE, subtype=f"PCM_{bits}", format=container)
    np.testing.assert_array_equal(audio.read_audio(take)[0], steps / 2.0 ** (bits - 1))


def test_more_than_an_hour_is_refused_before_it_is_read(distort, stressed, tmp_path, monkeypatch) -> None:
    session, _ = stressed
    take = tmp_path / "take.wav"
    with soundfile.SoundFile(take, "w", samplerate=8000, channels=1, subtype="PCM_16") as file:
        for _ in range(61):
            file.write(np.zeros(60 * 48000, dtype=np.int16))
    monkeypatch.setattr(audio, "_read_channel", lambda *_: pytest.fail("it was read"))
    assert "an hour at 48 kHz" in refused(distort, session, take)


@pytest.mark.parametrize("offset", [-0.5, -0.1, 0.0, 0.1, 0.5])
@pytest.mark.parametrize("side", ["above", "below"])
def test_an_offset_does_not_hide_clipping(offset, side) -> None:
    """A quiet sweep clipped on one side before the offset was added, and one that is not clipped at all."""
    sound = Sweep(seconds=3.2, drive_dbfs=-26.0).samples()
    limits = (-1.0, 0.04) if side == "above" else (-0.04, 1.0)
    clipped = np.clip(sound, *limits)
    held = np.flatnonzero(clipped != sound)
    found = clipped_samples(clipped + offset, whole_sweep=True)
    assert np.mean(np.isin(held, found)) > 0.5  # those of the crests that three samples or more hold
    assert clipped_samples(sound + offset, whole_sweep=True).size == 0
