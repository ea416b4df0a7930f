"""How many processes share the analysis of a session, from its recordings alone."""

from pathlib import Path

import pytest

from distort import sharing
from distort.session.files.folder import SessionFolder
from distort.sharing import others_for, recordings_of


@pytest.fixture
def session(tmp_path: Path) -> SessionFolder:
    """One condition of five recordings, one of three, and one of which a recording is there twice."""
    for name, levels in (("stand", 5), ("desk", 3), ("twice", 1)):
        folder = tmp_path / "recordings" / name
        folder.mkdir(parents=True)
        for level in range(levels):
            (folder / f"sweep_{80 + level}dB.wav").touch()
    (tmp_path / "recordings/twice/sweep_80dB.flac").touch()
    return SessionFolder(tmp_path)


def test_recordings_are_counted_and_none_where_they_are_at_fault(session) -> None:
    assert recordings_of(session, ("stand", "desk", "twice")) == [5, 3, 0]


@pytest.mark.parametrize(
    ("processors", "worth", "expected"), [(1, 4, 0), (2, 4, 1), (8, 4, 2), (8, 8, 1), (8, 9, 0), (8, 1, 2)]
)
def test_as_many_as_processors_conditions_and_work_allow(session, monkeypatch, processors, worth, expected) -> None:
    """Eight recordings in three conditions: one process more for each `worth` of them, up to one a condition."""
    monkeypatch.setattr("os.cpu_count", lambda: processors)
    monkeypatch.setattr(sharing, "WORTH_A_PROCESS", worth)
    assert others_for(session).count == expected


def test_one_condition_is_shared_with_nobody(session, monkeypatch) -> None:
    monkeypatch.setattr("os.cpu_count", lambda: 8)
    monkeypatch.setattr(sharing, "WORTH_A_PROCESS", 1)
    assert others_for(session, "stand").count == 0


def test_there_are_no_more_than_memory_is_for(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr("os.cpu_count", lambda: 64)
    for number in range(12):
        folder = tmp_path / "recordings" / f"place{number}"
        folder.mkdir(parents=True)
        for level in range(8):
            (folder / f"sweep_{80 + level}dB.wav").touch()
    assert others_for(SessionFolder(tmp_path)).count == sharing.MOST_PROCESSES - 1
