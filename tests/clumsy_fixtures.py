"""Fixtures of the tests that meet the command line as a clumsy user does; `pytest_plugins` brings them in."""

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.__main__ import main
from tests.clumsy_session import RATE, CommandLine, heard, shorten, unchanged


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture(scope="session")
def made(tmp_path_factory) -> Iterator[Path]:
    """A session with its stimuli, which no test may change: all files of tests share it."""
    session = tmp_path_factory.mktemp("made") / "monitor"
    assert main(["new", str(session), "--levels", "86,96"]) == 0
    shorten(session, short="true", orders="4")
    assert main(["stimuli", str(session)]) == 0
    with unchanged(session):
        yield session


@pytest.fixture(scope="session")
def good(made) -> np.ndarray:
    """What a microphone heard of the sweep at 86 dB: one second before the file was played, one after."""
    return heard(made / "stimuli/sweep_86dB.wav")


@pytest.fixture
def session(made, tmp_path) -> Path:
    """A copy of the session to spoil."""
    return Path(shutil.copytree(made, tmp_path / "monitor"))


@pytest.fixture
def recording(tmp_path, good) -> Path:
    """A good recording as 32-bit float WAV."""
    path = tmp_path / "take.wav"
    soundfile.write(path, good, RATE, subtype="FLOAT")
    return path


@pytest.fixture
def shared() -> Iterator[Path]:
    """A folder that every user may enter: pytest's own are closed to others."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    try:
        yield folder
    finally:
        shutil.rmtree(folder)
