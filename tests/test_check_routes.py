"""`distort check` can be satisfied by every way in which recordings come into a session, and says what lies beside."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.__main__ import main
from tests.clumsy_session import heard, shorten

pytest_plugins = ["tests.clumsy_fixtures"]

RATE = 16000


@pytest.fixture(scope="module")
def empty(tmp_path_factory) -> Path:
    """Two levels, sweeps of both lengths, a multitone, the lowest level again; calibrated."""
    session = tmp_path_factory.mktemp("routes") / "monitor"
    assert main(["new", str(session), "--levels", "76,86"]) == 0
    quick = {"seconds": "1.6", "orders": "3", "sample_rate": str(RATE), "stop_hz": "7000"}
    shorten(session, **quick, short="true", repeat_reference="true")
    assert main(["stimuli", str(session)]) == 0
    tone = 0.1 * np.sin(2.0 * np.pi * 1000.0 * np.arange(5 * RATE) / RATE)
    soundfile.write(session.parent / "calibrator.wav", tone, RATE, subtype="FLOAT")
    assert main(["calibrate", str(session), "--spl", "94", "--from", str(session.parent / "calibrator.wav")]) == 0
    return session


@pytest.fixture
def monitor(empty, tmp_path) -> Path:
    return Path(shutil.copytree(empty, tmp_path / "monitor"))


def words_of(monitor: Path, name: str, level: int, *words: str, seed: int = 1) -> list[str]:
    """The command that brings a recording of that stimulus in."""
    path = monitor.parent / f"{name}_{level}_{seed}.wav"
    played = monitor / f"stimuli/{name}_{level}dB.wav"
    soundfile.write(path, heard(played, before_s=0.4, after_s=0.4, seed=seed), RATE, subtype="FLOAT")
    told = ["--stimulus", name, "--level", str(level), "--playback-change-db", "0"]
    return ["add", str(monitor), str(path), *told, *words]


@pytest.fixture(scope="module")
def played_once(empty, tmp_path_factory) -> Path:
    """All that the plan asks for, brought in, but for the lowest level again."""
    session = Path(shutil.copytree(empty, tmp_path_factory.mktemp("played") / "monitor"))
    for level in (76, 86):
        for name in ("sweep", "sweep-short", "multitone"):
            assert main(words_of(session, name, level)) == 0
    return session


@pytest.fixture
def whole(played_once, tmp_path) -> Path:
    return Path(shutil.copytree(played_once, tmp_path / "monitor"))


@pytest.mark.sample
def test_everything_can_be_brought_in(distort, whole) -> None:
    ending = distort("check", whole)
    assert ending.status == 1
    assert "Missing in default: sweep_76dB_after, sweep_76dB_take2_after. " in ending.out
    assert "those whose name ends in _after with --after" in ending.out
    for seed in (2, 3):
        distort.done(*words_of(whole, "sweep", 76, "--after", seed=seed))
    assert "You may pack up: all 8 recordings of the plan are there" in distort.done("check", whole)
    distort.done("reject", whole, "default/sweep_76dB_after", "--reason", "a lorry passed")
    ending = distort("check", whole)
    assert ending.status == 1
    again = f"distort add {whole} FILE --stimulus sweep --level 76 --condition default --after"
    assert f"or bring another take in: {again}" in ending.out
    distort.done(*words_of(whole, "sweep", 76, "--after", seed=4))
    assert distort("check", whole).status == 0


def test_what_the_plan_does_not_ask_for_is_named_and_not_counted(distort, whole) -> None:
    plan = whole / "session.toml"
    text = plan.read_text(encoding="utf-8")
    for asked, now in (("short = true", "short = false"), ("[76, 86]", "[76]"), ("e = true", "e = false")):
        assert text.count(asked) == 1
        text = text.replace(asked, now)
    plan.write_text(text, encoding="utf-8")
    shutil.copytree(whole / "recordings/default", whole / "recordings/desk")
    for path in (whole / "recordings/desk").iterdir():
        if not path.name.startswith("multitone_76dB."):
            path.unlink()
    (left,) = (whole / "recordings/desk").glob("*.json")
    said = json.loads(left.read_text(encoding="utf-8"))
    said |= {"condition": "desk", "quality": {"verdict": "usable", "findings": ["A door slammed."]}}
    left.write_text(json.dumps(said), encoding="utf-8")
    out = distort.done("check", whole)
    beside = ("sweep-short_76dB", "sweep-short_86dB", "sweep_86dB", "multitone_86dB")
    named = [f"default/{name}" for name in sorted(beside)] + ["desk/multitone_76dB"]
    (line,) = [one for one in out.splitlines() if one.startswith("The plan does not ask for ")]
    assert line.endswith(": they are analysed all the same.")
    listed = line.removeprefix("The plan does not ask for ").removesuffix(": they are analysed all the same.")
    assert sorted(listed.split(", ")) == named
    assert "You may pack up: all 2 recordings of the plan are there" in out
    (doubt,) = [one for one in out.splitlines() if one.startswith("Doubtful: desk/multitone_76dB")]
    assert doubt.endswith("A door slammed.")  # nobody is told to measure what no plan has
    found = json.loads(distort("check", whole, "--json").out)
    assert found["recorded"] == 2
    assert sorted(name.removesuffix(".wav") for name in found["beside"]) == named


def test_sweeps_that_another_program_made_are_all_that_is_asked_for(distort, monitor) -> None:
    """scipy's logarithmic chirp, one file at both levels: the volume is turned by 10 dB in between."""
    time_s = np.arange(2 * RATE) / RATE
    growth = np.log(6000.0 / 20.0) / 2.0
    sweep = 0.3 * np.sin(2.0 * np.pi * 20.0 / growth * (np.exp(growth * time_s) - 1.0))
    sweep[-800:] *= np.linspace(1.0, 0.0, 800)
    played = monitor.parent / "sweep.wav"
    soundfile.write(played, np.pad(sweep, RATE), RATE, subtype="FLOAT")
    plan = monitor / "session.toml"
    plan.write_text(plan.read_text(encoding="utf-8").replace("reference = true", "reference = false"), encoding="utf-8")
    for level, turned in ((76, 0), (86, 10)):
        path = monitor.parent / f"{level}.wav"
        sound = 10.0 ** (turned / 20.0) * heard(played, before_s=0.4, after_s=0.4, noise=1e-5)
        soundfile.write(path, sound, RATE, subtype="FLOAT")
        assert ("Missing in default" in distort("check", monitor).out) == (turned in (0, 10))
        words = ("--stimulus-file", played, "--level", level, "--playback-change-db", turned)
        distort.done("add", monitor, path, *words)
    out = distort.done("check", monitor)
    assert "The sweeps of default were made by another program, so nothing but sweeps is asked for there" in out
    assert "You may pack up: all 2 recordings of the plan are there" in out
