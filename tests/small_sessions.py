"""Sessions that are quick to measure, add to, analyse and draw, at every stage; `pytest_plugins` brings them in.

All files of tests share them, so no test may change one: it copies what it writes to.
"""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import soundfile

from signals.programme import Programme
from tests.blank_figures import unmade_figures
from tests.clumsy_session import RATE, heard, shorten, unchanged
from tests.killing import Runner


@pytest.fixture
def runner() -> Runner:
    return Runner()


@pytest.fixture(scope="session")
def new(tmp_path_factory) -> Iterator[Path]:
    """A session with nothing in it, quick to measure."""
    from distort.__main__ import main

    session = tmp_path_factory.mktemp("new") / "monitor"
    assert main(["new", str(session), "--levels", "76,86", "--name", "Monitor A"]) == 0
    shorten(session, orders="4", seconds="1.6")
    with unchanged(session):
        yield session


@pytest.fixture(scope="session")
def with_takes(new, tmp_path_factory) -> Iterator[Path]:
    """The session with its stimuli, and beside it two recordings of them."""
    from distort.__main__ import main

    session = Path(shutil.copytree(new, tmp_path_factory.mktemp("takes") / "monitor"))
    assert main(["stimuli", str(session)]) == 0
    for level in (76, 86):
        take = heard(session / f"stimuli/sweep_{level}dB.wav")
        soundfile.write(session.parent / f"take_{level}.wav", take, RATE, subtype="FLOAT")
    with unchanged(session):
        yield session


@pytest.fixture(scope="session")
def analysed(with_takes, tmp_path_factory) -> Iterator[Path]:
    """The session with its takes, analysed."""
    from distort.__main__ import main

    session = Path(shutil.copytree(with_takes, tmp_path_factory.mktemp("analysed") / "monitor"))
    for level in (76, 86):
        take = with_takes.parent / f"take_{level}.wav"
        words = ["--stimulus", "sweep", "--level", str(level), "--playback-change-db", "0"]
        assert main(["add", str(session), str(take), *words]) == 0
    assert main(["analyze", str(session)]) == 0
    with unchanged(session):
        yield session


@pytest.fixture(scope="session")
def with_music(new, tmp_path_factory) -> Iterator[Path]:
    """The session with 5 s of music from a file, brought in at 76 and 86 dB SPL: at 86 with a cubic part."""
    from distort.__main__ import main

    session = Path(shutil.copytree(new, tmp_path_factory.mktemp("music") / "monitor"))
    (session / "programme").mkdir()
    piece = Programme(seconds=5.0, sample_rate=44100, drive_dbfs=-30.0).samples()
    soundfile.write(session / "programme/piece.flac", piece, 44100, subtype="PCM_16")
    with (session / "session.toml").open("a", encoding="utf-8") as plan:
        plan.write('\n[programme]\nfile = "programme/piece.flac"\ncredit = "Nobody"\n')
    assert main(["stimuli", str(session)]) == 0
    for level in (76, 86):
        take = heard(session / f"stimuli/programme_{level}dB.wav")
        soundfile.write(session.parent / f"music_{level}.wav", take - (level == 86) * take**3, RATE, subtype="FLOAT")
        words = ["--stimulus", "programme", "--level", str(level), "--playback-change-db", "0"]
        assert main(["add", str(session), str(session.parent / f"music_{level}.wav"), *words]) == 0
    with unchanged(session):
        yield session


@pytest.fixture(scope="session")
def drawn(analysed, tmp_path_factory) -> Iterator[Path]:
    """The session analysed and its page made, with empty pictures."""
    from distort.__main__ import main

    session = Path(shutil.copytree(analysed, tmp_path_factory.mktemp("drawn") / "monitor"))
    with unmade_figures():
        assert main(["report", str(session)]) == 0
    with unchanged(session):
        yield session
