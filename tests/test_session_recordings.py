"""Recordings in a session: audio and sidecar together, whole, and never overwritten."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from distort.errors import RecordingError, SessionError
from distort.session.audio.audio_file import write_audio
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.recordings import sidecar
from distort.session.recordings import stored as recordings
from distort.session.recordings.sidecar import Sidecar
from distort.session.recordings.stored import bring_in_recording, load_recordings, save_recording
from tests.session_examples import SIDECAR

CAPTURED = np.round(np.random.default_rng(3).uniform(-0.5, 0.5, 5000) * 2**23) / 2**23
"""Whole 24-bit steps, as a converter gives them."""


@pytest.mark.parametrize("suffix", [".flac", ".wav"])
def test_a_recording_is_saved_with_its_sidecar_and_comes_back(tmp_path: Path, suffix: str) -> None:
    session = SessionFolder(tmp_path)
    saved = save_recording(session, CAPTURED, SIDECAR, suffix=suffix)
    assert saved.files.audio_path == tmp_path / "recordings" / "desk" / f"sweep_86dB{suffix}"
    assert saved.sidecar.recording_sha256 == sha256_of_file(saved.files.audio_path)
    assert load_recordings(session, "desk") == (saved,)
    expected = CAPTURED if suffix == ".flac" else CAPTURED.astype(np.float32)
    assert np.array_equal(load_recordings(session, "desk")[0].samples(), expected)


def test_no_recording_is_overwritten_in_either_format(tmp_path: Path) -> None:
    session = SessionFolder(tmp_path)
    saved = save_recording(session, CAPTURED, SIDECAR)
    for suffix in (".flac", ".wav"):
        with pytest.raises(SessionError, match="is never overwritten: record another take"):
            save_recording(session, -CAPTURED, replace(SIDECAR, device="other"), suffix=suffix)
    assert load_recordings(session, "desk") == (saved,)
    again = save_recording(session, -CAPTURED, replace(SIDECAR, take=2))
    assert load_recordings(session, "desk") == (saved, again)


def test_a_death_between_sidecar_and_audio_leaves_no_recording_and_does_no_harm(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    session = SessionFolder(tmp_path)

    def die(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("os.link", die)
        with pytest.raises(KeyboardInterrupt):
            save_recording(session, CAPTURED, SIDECAR)
    assert load_recordings(session, "desk") == ()
    assert [path.name for path in session.recordings_folder("desk").iterdir()] == ["sweep_86dB.json"]
    assert session.next_take("desk", SIDECAR.name) == SIDECAR.name
    saved = save_recording(session, -CAPTURED, SIDECAR)
    assert load_recordings(session, "desk") == (saved,)


def test_the_audio_takes_its_name_last(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """So that wherever there is audio its sidecar is complete."""

    def watched(path: Path, written: Sidecar) -> None:
        assert not path.with_suffix(".flac").exists()
        sidecar.write_sidecar(path, written)
        seen.append(path.name)

    seen: list[str] = []

    monkeypatch.setattr(recordings, "write_sidecar", watched)
    save_recording(SessionFolder(tmp_path), CAPTURED, SIDECAR)
    assert seen == ["sweep_86dB.json"]


def test_the_sound_of_a_file_is_brought_in(tmp_path: Path) -> None:
    session = SessionFolder(tmp_path / "speaker")
    source = tmp_path / "TAKE 1.WAV"
    write_audio(tmp_path / "a.wav", CAPTURED, 44100)
    (tmp_path / "a.wav").rename(source)
    brought = bring_in_recording(session, source, replace(SIDECAR, sample_rate=44100))
    assert brought.files.audio_path.name == "sweep_86dB.wav"
    assert np.array_equal(brought.samples(), CAPTURED)
    with pytest.raises(RecordingError, match="is at 44100 Hz, where 48000 Hz was said"):
        bring_in_recording(session, source, replace(SIDECAR, take=2))
    source.write_bytes(b"not audio")
    with pytest.raises(RecordingError, match="cannot be read"):
        bring_in_recording(session, source, replace(SIDECAR, take=2))
    assert load_recordings(session, "desk") == (brought,)


def test_a_file_is_brought_in_byte_for_byte_where_that_is_asked_for(tmp_path: Path) -> None:
    session = SessionFolder(tmp_path / "speaker")
    source = tmp_path / "take.wav"
    write_audio(source, CAPTURED, 48000)
    source.write_bytes(source.read_bytes() + b"note\4\0\0\0mine")
    brought = bring_in_recording(session, source, SIDECAR, keep_metadata=True)
    assert brought.files.audio_path.read_bytes() == source.read_bytes()
    assert np.array_equal(brought.samples(), CAPTURED)


def test_a_recording_that_was_changed_afterwards_is_refused(tmp_path: Path) -> None:
    session = SessionFolder(tmp_path)
    saved = save_recording(session, CAPTURED, SIDECAR)
    write_audio(saved.files.audio_path, 0.5 * CAPTURED, 48000, replace=True)
    with pytest.raises(SessionError, match=r"sweep_86dB\.flac is not the file that sweep_86dB\.json was written for"):
        saved.samples()


def test_a_sidecar_that_lies_about_the_rate_is_refused(tmp_path: Path) -> None:
    saved = save_recording(SessionFolder(tmp_path), CAPTURED, SIDECAR)
    wrong = replace(saved, sidecar=replace(saved.sidecar, sample_rate=44100))
    with pytest.raises(RecordingError, match="is at 48000 Hz, its sidecar says 44100 Hz"):
        wrong.samples()


def test_a_recording_without_a_sidecar_or_with_another_s(tmp_path: Path) -> None:
    session = SessionFolder(tmp_path)
    saved = save_recording(session, CAPTURED, SIDECAR)
    other = saved.files.audio_path.with_name("sweep_96dB")
    other.with_suffix(".flac").write_bytes(saved.files.audio_path.read_bytes())
    with pytest.raises(SessionError, match=r"sweep_96dB\.flac has no sidecar sweep_96dB\.json"):
        load_recordings(session, "desk")
    other.with_suffix(".json").write_bytes(saved.files.sidecar_path.read_bytes())
    with pytest.raises(SessionError, match="speaks of sweep_86dB in desk: it belongs to another recording"):
        load_recordings(session, "desk")


def test_what_cannot_be_saved(tmp_path: Path) -> None:
    session = SessionFolder(tmp_path)
    with pytest.raises(SessionError, match="speaks of channel 2"):
        save_recording(session, CAPTURED, replace(SIDECAR, channel=2))
    with pytest.raises(SessionError, match=r"ends in \.wav or \.flac"):
        save_recording(session, CAPTURED, SIDECAR, suffix=".mp3")
    with pytest.raises(SessionError, match="beyond full scale"):
        save_recording(session, 4 * CAPTURED, SIDECAR)
    assert load_recordings(session, "desk") == ()
