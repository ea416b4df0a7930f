"""Conditions of a session, shared by two processes: the same files, and of a failure what one process would leave."""

import shutil
from pathlib import Path

import pytest

from distort.errors import SessionError
from distort.pipeline import analyze_session
from distort.processes import Others
from tests.clumsy_session import contents

pytest_plugins = ["tests.small_sessions"]

pytestmark = pytest.mark.sample


@pytest.fixture
def several(analysed, tmp_path) -> Path:
    """The same recordings as those of three conditions, analysed as none; of the last there are two."""
    session = Path(shutil.copytree(analysed, tmp_path / "monitor"))
    shutil.rmtree(session / "results")
    for name in ("desk", "stand"):
        shutil.copytree(session / "recordings/default", session / "recordings" / name)
        for path in (session / "recordings" / name).glob("*.json"):
            said = path.read_text(encoding="utf-8")
            path.write_text(said.replace('"condition": "default"', f'"condition": "{name}"'), encoding="utf-8")
    for path in (session / "recordings/desk").glob("sweep_76dB.*"):
        path.unlink()
    return session


def test_two_processes_write_the_same_files(several, tmp_path) -> None:
    alone = Path(shutil.copytree(several, tmp_path / "alone" / "monitor"))
    told: list[tuple[str, int, int]] = []
    found = analyze_session(several, others=Others(1), progress=lambda *step: told.append(step))
    assert [one.findings.condition for one in found] == ["default", "desk", "stand"]
    analyze_session(alone, threads=1, progress=lambda *_: None)
    assert contents(several / "results") == contents(alone / "results")
    assert {(what, total) for what, _, total in told} == {("analysing 3 conditions", 5)}
    assert told == sorted(told)


def test_the_first_condition_that_fails_is_told_and_what_comes_after_it_is_not_written(several) -> None:
    for name in ("desk", "stand"):
        (several / f"recordings/{name}/sweep_86dB.wav").write_bytes(b"no sound")
    with pytest.raises(SessionError, match="recordings/desk/sweep_86dB"):
        analyze_session(several, others=Others(1), progress=lambda *_: None)
    assert sorted(path.name for path in (several / "results").iterdir()) == ["default"]
    assert (several / "results/default/findings.json").is_file()
