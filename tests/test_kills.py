"""kill -9 at random moments: every recording whole or absent, every result old or new, and the next run goes on.

Eight with `-m sample`; `pytest -m study -s tests/test_kills.py` does 354.
"""

import random
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.session.files.atomic import TEMPORARY_SUFFIX
from distort.session.files.folder import SessionFolder
from distort.session.published.frozen import frozen_labels, read_frozen
from distort.session.recordings.stored import load_recordings
from distort.session.results.heard_files import heard_records
from tests.clumsy_session import contents

pytest_plugins = ["tests.small_sessions"]

SAMPLE, STUDY = pytest.mark.sample, pytest.mark.study


def recordings(session: Path) -> set[str]:
    """Names of all recordings; each must be whole, and the one that its sidecar was written for."""
    folder = SessionFolder(session)
    found = set()
    for condition in folder.conditions_recorded():
        for one in load_recordings(folder, condition):
            one.samples()  # raises when the file is not the one that was recorded, or not all of it
            found.add(one.files.audio_path.name)
    return found


def left_over(session: Path) -> list[str]:
    return [name for name in contents(session) if name.endswith(TEMPORARY_SUFFIX)]


@pytest.mark.parametrize("kills", [pytest.param(1, marks=SAMPLE), pytest.param(51, marks=STUDY)])
def test_measure(runner, new, tmp_path, kills) -> None:
    moment = random.Random(1)
    whole = Path(shutil.copytree(new, tmp_path / "whole"))
    plan = (new / "session.toml").read_text(encoding="utf-8").replace("db_spl = [76, 86]", "db_spl = [86]")
    (whole / "session.toml").write_text(plan, encoding="utf-8")
    new = Path(shutil.copytree(whole, tmp_path / "new"))
    assert runner.whole(whole, "measure", whole, "--simulate") == 0
    wanted = recordings(whole)
    assert wanted == {"sweep_86dB.flac", "multitone_86dB.flac"}
    done = 0
    while done < kills:
        session = Path(shutil.copytree(new, tmp_path / "killed"))
        known: dict[str, bytes] = {}
        for _ in range(min(4, kills - done)):
            done += runner.killed(moment, session, "measure", session, "--simulate")
            assert recordings(session) <= wanted
            held = contents(session)
            assert {name: held[name] for name in known} == known, "a recording was lost or changed"
            known = {name: content for name, content in held.items() if name.endswith(".flac") and name[0] != "."}
            known = {name: content for name, content in known.items() if name.startswith("recordings/")}
        assert runner.whole(session, "measure", session, "--simulate") == 0
        assert recordings(session) == wanted
        assert left_over(session) == []
        shutil.rmtree(session)


@pytest.mark.parametrize("kills", [pytest.param(1, marks=SAMPLE), pytest.param(51, marks=STUDY)])
def test_add(runner, with_takes, tmp_path, kills) -> None:
    moment = random.Random(2)
    done = 0
    while done < kills:
        session = Path(shutil.copytree(with_takes, tmp_path / "killed"))
        for level in (76, 86):
            take = with_takes.parent / f"take_{level}.wav"
            name = f"sweep_{level}dB.wav"
            words = ("add", session, take, "--stimulus", "sweep", "--level", level)
            if done == 0 and level == 76:
                other = Path(shutil.copytree(with_takes, tmp_path / "whole"))
                assert runner.whole(other, "add", other, *words[2:]) == 0
            done += runner.killed(moment, session, *words)
            there = name in recordings(session)
            # once more: brought in, or there already
            assert runner.whole(session, *words) == (1 if there else 0)
            assert name in recordings(session)
            kept, _ = soundfile.read(session / "recordings/default" / name)
            assert np.array_equal(kept, soundfile.read(take)[0])
        assert len(recordings(session)) == 2
        assert left_over(session) == []
        shutil.rmtree(session)


def old_or_new(held: dict[str, bytes], old: dict[str, bytes], new: dict[str, bytes]) -> list[str]:
    """Names of result files that are neither."""
    return [
        name
        for name, content in held.items()
        if name.startswith("results/")
        and not name.endswith(("analysed.json", TEMPORARY_SUFFIX))  # the note holds times
        and content not in (old.get(name), new.get(name))
    ]


@pytest.mark.sample
@pytest.mark.parametrize(
    ("command", "before", "key", "value", "kills"),
    [
        ("analyze", "analysed", "smoothing", '"1/6"', 1),
        pytest.param("analyze", "analysed", "smoothing", '"1/6"', 51, marks=STUDY),
        pytest.param("report", "drawn", "title", '"Another"', 51, marks=STUDY),  # draws every figure each time
    ],
)
def test_results(runner, request, tmp_path, command, before, key, value, kills) -> None:
    moment = random.Random(3)
    changed = Path(shutil.copytree(request.getfixturevalue(before), tmp_path / "changed"))
    plan = changed / "session.toml"
    text, count = re.subn(rf"(?m)^#? ?{key} = .*$", f"{key} = {value}", plan.read_text(encoding="utf-8"))
    assert count == 1
    plan.write_text(text, encoding="utf-8")
    old = contents(changed)
    whole = Path(shutil.copytree(changed, tmp_path / "whole"))
    assert runner.whole(whole, command, whole) == 0
    new = contents(whole)
    assert sum(old[name] != new[name] for name in old if name.startswith("results/")) > 2
    session = tmp_path / "killed"
    done = 0
    while done < kills:
        shutil.rmtree(session, ignore_errors=True)
        shutil.copytree(changed, session)
        for _ in range(min(3, kills - done)):
            done += runner.killed(moment, session, command, session)
            held = contents(session)
            assert set(held) >= {name for name in old if name.startswith("results/")}
            assert old_or_new(held, old, new) == []
            assert recordings(session) == {"sweep_76dB.wav", "sweep_86dB.wav"}
    assert runner.whole(session, command, session) == 0
    held = contents(session)
    held.pop("results/analysed.json")
    new.pop("results/analysed.json")
    assert held == new


def untouched(held: dict[str, bytes]) -> dict[str, bytes]:
    """What neither `freeze` nor `bundle` may change."""
    ours = ("frozen", ".lock")
    return {name: content for name, content in held.items() if name.split("/")[0] not in ours}


@pytest.mark.parametrize("kills", [pytest.param(1, marks=SAMPLE), pytest.param(50, marks=STUDY)])
def test_freeze(runner, analysed, tmp_path, kills) -> None:
    """What is kept under a label is all there, with its record, or not at all; and nothing else is touched."""
    moment = random.Random(4)
    whole = Path(shutil.copytree(analysed, tmp_path / "whole"))
    assert runner.whole(whole, "freeze", whole, "edition") == 0
    wanted = {name: what for name, what in contents(whole / "frozen/edition").items() if name != "frozen.json"}
    done = 0
    while done < kills:
        session = Path(shutil.copytree(analysed, tmp_path / "killed"))
        old = untouched(contents(session))
        for label in ("one", "two", "three")[: kills - done]:
            done += runner.killed(moment, session, "freeze", session, label)
            assert untouched(contents(session)) == old
            there = label in frozen_labels(SessionFolder(session))
            # once more: kept, or there already
            assert runner.whole(session, "freeze", session, label) == (1 if there else 0)
            assert left_over(session) == []
            kept = contents(session / "frozen" / label)
            kept.pop("frozen.json")  # it holds the time
            assert kept == wanted
            read_frozen(SessionFolder(session), label)  # raises when a file in it is not the one that was kept
        shutil.rmtree(session)


@pytest.mark.parametrize("kills", [pytest.param(1, marks=SAMPLE), pytest.param(50, marks=STUDY)])
def test_bundle(runner, drawn, tmp_path, kills) -> None:
    """The bundle is whole or absent, and the session as it was."""
    moment = random.Random(5)
    place = tmp_path / "place"
    session, bundle = place / "monitor", place / "check.zip"
    shutil.copytree(drawn, session)
    old = untouched(contents(session))
    assert runner.whole(place, "bundle", session, "--to", bundle) == 0
    wanted = bundle.read_bytes()
    bundle.unlink()
    done = 0
    while done < kills:
        done += runner.killed(moment, place, "bundle", session, "--to", bundle)
        assert untouched(contents(session)) == old
        there = bundle.exists()
        if there:
            assert bundle.read_bytes() == wanted
        assert runner.whole(place, "bundle", session, "--to", bundle) == (1 if there else 0)
        assert bundle.read_bytes() == wanted
        assert left_over(session) == []
        bundle.unlink()


@pytest.mark.parametrize("kills", [pytest.param(1, marks=SAMPLE), pytest.param(50, marks=STUDY)])
def test_hear(runner, with_music, tmp_path, kills) -> None:
    """No sound is ever there that no record names; once more makes all of them."""
    moment = random.Random(6)
    whole = Path(shutil.copytree(with_music, tmp_path / "whole"))
    assert runner.whole(whole, "hear", whole) == 0
    wanted = contents(whole)
    done = 0
    while done < kills:
        session = Path(shutil.copytree(with_music, tmp_path / "killed"))
        for _ in range(min(3, kills - done)):
            done += runner.killed(moment, session, "hear", session)
            named = {one.file for record in heard_records(SessionFolder(session)) for one in record.files}
            there = {Path(name).name for name in contents(session) if name.startswith("results/listening/")}
            assert {name for name in there if name.endswith(".flac") and name[0] != "."} <= named
        assert runner.whole(session, "hear", session) == 0
        held = contents(session)
        assert {name: held[name] for name in held if name != ".lock"} == {
            name: wanted[name] for name in wanted if name != ".lock"
        }
        shutil.rmtree(session)
