"""What the loudspeaker did not make is told wherever a recording is looked at, and marked in the results."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.session.files.folder import SessionFolder
from distort.session.results.condition_results import read_results
from tests.clumsy_session import RATE
from tests.devices.restless import poorly_converted

pytest_plugins = ["tests.clumsy_fixtures", "tests.small_sessions"]

TALKED = "Something sounded from"
CONVERTED = "A poor conversion of the sample rate left images"


@pytest.fixture
def session(with_takes, tmp_path) -> Path:
    return Path(shutil.copytree(with_takes, tmp_path / "monitor"))


def add(distort, session: Path, take: np.ndarray, level: int) -> str:
    path = session.parent / f"take_{level}.wav"
    soundfile.write(path, take, RATE, subtype="FLOAT")
    return distort.done("add", session, path, "--stimulus", "sweep", "--level", level, "--playback-change-db", "0")


def talked(take: np.ndarray) -> np.ndarray:
    """Noise of 0.2 s, 35 dB over that of the recording, while the sweep of 1.6 s is at about 100 Hz."""
    made = take.copy()
    first = round((1.0 + 0.5 + 0.1 + 2.75 + 0.48) * RATE)  # silence, lead-in, chirp, silence, into the sweep
    made[first : first + RATE // 5] += 6e-3 * np.random.default_rng(1).standard_normal(RATE // 5)
    return made


def marks(session: Path, level: int) -> list[np.ndarray]:
    results = read_results(SessionFolder(session), "default")
    return [order.doubtful for order in results.harmonics[results.levels_db_spl.index(level)].orders]


@pytest.mark.sample
def test_speech_is_told_by_every_command_and_what_it_touches_is_marked(distort, session, with_takes, analysed) -> None:
    quiet = [soundfile.read(with_takes.parent / f"take_{level}.wav")[0] for level in (76, 86)]
    assert TALKED not in add(distort, session, quiet[1], 86)
    said = add(distort, session, talked(quiet[0]), 76)
    assert TALKED in said
    assert TALKED in distort.done("show", session, "quality").replace("\n", " ")
    assert TALKED in distort("check", session).out
    assert TALKED in distort.done("analyze", session)
    found = json.loads((session / "results/default/findings.json").read_text())["events"]
    (event,) = found
    assert event["level_db_spl"] == 76
    touched = event["event"]["touched"]
    assert {one["order"] for one in touched} >= {2, 3}
    clean = marks(analysed, 76)
    for order, (before, after) in enumerate(zip(clean, marks(session, 76), strict=True), start=2):
        rows_hz = read_results(SessionFolder(session), "default").harmonics[0].frequency_hz[after & ~before]
        stretches = [one for one in touched if one["order"] == order]
        assert all(any(one["low_hz"] - 1e-3 <= hz <= one["high_hz"] + 1e-3 for one in stretches) for hz in rows_hz)
    np.testing.assert_array_equal(marks(session, 86), marks(analysed, 86))


@pytest.mark.sample
def test_a_poor_conversion_is_told_with_its_level(distort, session, with_takes) -> None:
    for level in (76, 86):
        take = soundfile.read(with_takes.parent / f"take_{level}.wav")[0]
        said = add(distort, session, poorly_converted(take, RATE, through=44_100, taps=8), level)
        assert CONVERTED in said
    said = distort.done("analyze", session)
    assert f"{CONVERTED} of the sweep at 3900 Hz" in said
    found = json.loads((session / "results/default/findings.json").read_text())
    assert {one["image"]["offset_hz"] for one in found["images"]} >= {3900.0}
    assert all(one["image"]["relative_db"] for one in found["images"])


def test_neither_is_told_where_there_is_none(distort, analysed) -> None:
    findings = json.loads((analysed / "results/default/findings.json").read_text())
    assert "events" not in findings
    assert "images" not in findings
    assert TALKED not in distort("check", analysed).out
