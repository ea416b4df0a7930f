"""What happens to a session in practice: a take is rejected, the volume is turned, a level is measured again."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.__main__ import main
from distort.capture.measuring.steps import remaining
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.recordings.stimulus_files import drives_dbfs
from tests.clumsy_session import RATE, heard, shorten

pytest_plugins = ["tests.clumsy_fixtures"]


@pytest.fixture
def add(distort, session, tmp_path):
    """Brings in what a microphone heard of a stimulus, with a gain in dB that nobody set on the player."""

    def add(stimulus: str, level: int, *words: str, gain_db: float = 0.0, seed: int = 1) -> Path:
        path = tmp_path / f"{stimulus}_{level}_{seed}.wav"
        samples = heard(session / f"stimuli/{stimulus}_{level}dB.wav", seed=seed, noise=1e-5)
        soundfile.write(path, samples * 10.0 ** (gain_db / 20.0), RATE, subtype="FLOAT")
        distort.done("add", session, path, "--stimulus", stimulus, "--level", str(level), *words)
        return path

    return add


def findings(session: Path) -> dict:
    return json.loads((session / "results/default/findings.json").read_text(encoding="utf-8"))


@pytest.mark.sample
def test_tables_of_a_level_that_was_rejected_do_not_stay_behind(distort, session, add) -> None:
    for level in (86, 96):
        add("sweep", level, "--playback-change-db", "0")
    distort.done("analyze", session)
    results = session / "results/default"
    (results / "my notes.csv").write_text("mine", encoding="utf-8")
    assert {"response_96dB.csv", "harmonics_96dB.csv", "compression_sweep.csv"} <= {p.name for p in results.iterdir()}
    distort.done("reject", session, "default/sweep_96dB", "--reason", "a lorry passed")
    distort.done("analyze", session)
    kept = {"response_86dB.csv", "harmonics_86dB.csv", "impulsive.csv", "findings.json", "my notes.csv"}
    assert {path.name for path in results.iterdir()} == kept
    said = "No compression result from the sweeps: it takes recordings of at least two levels."
    assert findings(session)["no_compression"] == said


@pytest.mark.sample
def test_takes_between_which_the_volume_was_turned_are_not_averaged(distort, session, add) -> None:
    add("sweep", 86, "--playback-change-db", "0")
    add("sweep", 86, "--playback-change-db", "3", gain_db=3.0, seed=2)
    said = distort.refused("analyze", session, inside=session)
    assert "turns of the volume" in said
    assert "reject one of them" in said


@pytest.mark.sample
def test_the_short_sweep_counts_at_its_own_volume(distort, session, add) -> None:
    """Two levels of one curve, but before the louder short sweep the volume was turned up by 2 dB, which was said."""
    for level in (86, 96):
        add("sweep", level, "--playback-change-db", "0")
    add("sweep-short", 86, "--playback-change-db", "0")
    add("sweep-short", 96, "--playback-change-db", "2", gain_db=2.0)
    distort.done("analyze", session)
    octaves = findings(session)["compression"][0]["octaves"]
    bias_db = [one["bias_db"][1] for one in octaves if 200.0 < one["midband_hz"] < 9000.0]
    assert np.max(np.abs(bias_db)) < 0.1  # noise and the room; counted at the long sweep's volume it would be 2 dB


def test_responses_measured_elsewhere_are_read_and_stated(distort, session, add) -> None:
    """Without a curve the analysis stops and says which is missing; with a flat one it is stated in the findings."""
    add("sweep", 86)
    plan = session / "session.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace("# response_files = ", "response_files = "), encoding="utf-8")
    said = distort.refused("analyze", session, inside=session)
    assert "free-field.csv is missing: [analysis] response_files of session.toml names it" in said
    curve = session / "calibration/free-field.csv"
    curve.parent.mkdir(exist_ok=True)
    curve.write_text("Hz,dB\n20,-70\n100,0\n20000,0\n", encoding="utf-8")  # spans more than a microphone may
    distort.done("analyze", session)
    used = findings(session)["response_files"]
    assert [(one["file"], one["low_hz"], one["high_hz"]) for one in used] == [
        ("calibration/free-field.csv", 20.0, 20000.0)
    ]


@pytest.mark.parametrize(
    ("only", "again", "wanted"),
    [
        ("sweep_76dB", False, ["sweep_76dB", "sweep_76dB_take2"]),
        ("sweep_76dB_after", False, ["sweep_76dB_after"]),
        ("sweep_76dB", True, ["sweep_76dB"]),
        ("sweep_76dB_take2_after", True, ["sweep_76dB_after"]),
        (None, True, ["sweep_76dB", "sweep_86dB", "sweep_76dB_after"]),
    ],
)
def test_which_recordings_are_wanted(tmp_path: Path, only: str | None, again: bool, wanted: list[str]) -> None:
    """Nothing is recorded yet, so that the next take is the first. A level alone is not also its repeats."""
    assert main(["new", str(tmp_path / "s"), "--levels", "76,86"]) == 0
    path = tmp_path / "s/session.toml"
    text = path.read_text(encoding="utf-8").replace("takes = 1", "takes = 2").replace("short = true", "short = false")
    path.write_text(text, encoding="utf-8")
    plan = read_plan(tmp_path / "s")
    folder, drives = SessionFolder(tmp_path / "s"), drives_dbfs(plan, None)
    found = remaining(folder, plan, drives, condition="default", only=only, again=again)
    assert [step.name.stem for step in found if step.item.stimulus_name == "sweep"] == wanted


@pytest.mark.sample
def test_a_band_in_which_nothing_was_read_sets_no_level(distort, tmp_path: Path) -> None:
    session = tmp_path / "s"
    distort.done("new", session, "--levels", "60,70")
    shorten(session, orders="2", band_hz="[1, 5]")
    ending = distort("measure", session, "--simulate")
    assert ending.status == 1
    assert "no reading in [levels] band_hz, 1 to 5 Hz" in ending.err
