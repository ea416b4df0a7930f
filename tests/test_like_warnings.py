"""Ten like warnings are one line with their number; unlike ones, and a few, are told one by one."""

import json
import shutil
from pathlib import Path

import pytest

from distort.report.text.alike import OF_THE_FIRST, alike, and_more, is_alike
from tests.clumsy_session import CommandLine

pytest_plugins = ["tests.small_sessions"]


def plainly(sentence: str) -> str:
    return sentence


def test_warnings_that_differ_in_numbers_alone_are_like() -> None:
    assert is_alike("The noise is 3.5 dB at 1,000 Hz, -60 dB.") == is_alike("The noise is 12 dB at 50 Hz, 7.25 dB.")
    assert is_alike("3 samples clipped.") != is_alike("3 samples lost.")
    said = [f"{count} samples clipped." for count in range(10)] + ["1 sample lost.", "2 samples lost."]
    groups = alike(said, plainly)
    assert [len(group) for group in groups] == [10, 1, 1]
    assert groups[0] == said[:10]
    assert [len(group) for group in alike(said[:3], plainly)] == [3]
    assert [len(group) for group in alike(said[:2], plainly)] == [1, 1]
    assert alike([], plainly) == []
    assert (and_more(["a"]), and_more(["a", "b", "c"])) == ("a", "a and 2 more")


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.mark.sample
def test_ten_doubtful_recordings_are_one_line_of_check_and_of_analyze(distort, analysed, tmp_path) -> None:
    """Takes of one sweep, each with a doubt of its own numbers."""
    session = Path(shutil.copytree(analysed, tmp_path / "m"))
    folder = session / "recordings/default"
    audio = next(folder.glob("sweep_76dB.*[!n]"))
    for take in range(1, 11):
        stem = "sweep_76dB" if take == 1 else f"sweep_76dB_take{take}"
        sidecar = json.loads((folder / "sweep_76dB.json").read_text(encoding="utf-8"))
        sidecar["take"] = take
        sidecar["quality"] = {**sidecar["quality"], "verdict": "usable", "findings": [f"The hum is {take} dB."]}
        if take > 1:
            shutil.copy(audio, folder / f"{stem}{audio.suffix}")
        (folder / f"{stem}.json").write_text(json.dumps(sidecar), encoding="utf-8")
    said = distort("check", session).out
    assert said.count("Doubtful:") == 1
    assert "Doubtful: default/sweep_76dB and 9 more: The hum is 1 dB. " + OF_THE_FIRST in said
    assert "To repeat the first: " in said
    said = distort("analyze", session).out
    assert said.count("The hum is") == 1
    assert " and 9 more: usable" in said
