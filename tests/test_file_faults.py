"""A full disk, a folder that goes, a clock set back, links and pipes: nothing is lost and nothing is made up."""

import errno
import json
import os
import re
import shutil
from contextlib import nullcontext
from pathlib import Path

import pytest

from distort.archive import analyze_and_note, analyze_if_changed
from distort.errors import DistortError
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.results import analysed as note
from distort.session.results.inputs import input_names
from tests.blank_figures import unmade_figures
from tests.clumsy_session import contents, table
from tests.program_source import nodes_of

pytest_plugins = ["tests.clumsy_fixtures", "tests.small_sessions"]


def said(session: Path) -> str:
    return Path(f"{session}.said").read_text(encoding="utf-8")


@pytest.mark.sample
def test_a_disk_that_takes_no_more_while_recordings_are_brought_in(runner, with_takes, tmp_path) -> None:
    """A real write that fails half-way, as on a full disk: the system lets no file grow beyond a limit."""
    session = Path(shutil.copytree(with_takes, tmp_path / "monitor"))
    take = with_takes.parent / "take_86.wav"
    before = contents(session)
    words = ("add", session, take, "--stimulus", "sweep", "--level", 86)
    assert runner.whole(session, *words, largest_file_bytes=100_000) == 1
    assert "cannot be written" in said(session)
    assert "fault in this program" not in said(session)
    assert {name: held for name, held in contents(session).items() if "recordings" not in name} == before
    assert [name for name in contents(session) if name.endswith((".wav", ".flac", ".tmp")) and "rec" in name] == []
    assert runner.whole(session, *words) == 0


@pytest.mark.sample
def test_a_disk_that_takes_no_more_while_results_are_written(runner, drawn, tmp_path) -> None:
    session = Path(shutil.copytree(drawn, tmp_path / "monitor"))
    before = contents(session)
    assert runner.whole(session, "analyze", session, "--again", largest_file_bytes=10_000) == 1
    assert "cannot be written" in said(session)
    assert contents(session) == before
    plan = session / "session.toml"  # figures of which nothing changed would not be drawn
    text, count = re.subn("(?m)^#? ?title = .*$", 'title = "Another"', plan.read_text(encoding="utf-8"))
    assert count == 1
    plan.write_text(text, encoding="utf-8")
    before = contents(session)
    assert runner.whole(session, "report", session, largest_file_bytes=10_000) == 1
    assert "cannot be written" in said(session)
    assert contents(session) == before


@pytest.mark.first(1)
@pytest.mark.parametrize("below", ["monitor", "shelf/of/monitors/monitor"])
@pytest.mark.sample
def test_a_disk_that_takes_no_more_while_a_session_is_made(runner, tmp_path, below) -> None:
    """Nothing of it stays: neither the folder nor those above it that were made for it."""
    session = tmp_path / below
    said_in = tmp_path / "new"  # Runner writes beside what it watches
    assert runner.whole(said_in, "new", session, largest_file_bytes=1000) == 1
    assert "session.toml cannot be written" in said(said_in)
    assert [path.name for path in tmp_path.iterdir()] == ["new.said"]
    session.mkdir(parents=True)
    (session / "notes.txt").write_text("mine", encoding="utf-8")
    assert runner.whole(said_in, "new", session, largest_file_bytes=1000) == 1
    assert [path.name for path in session.iterdir()] == ["notes.txt"]
    assert runner.whole(said_in, "new", session) == 0


@pytest.mark.study
@pytest.mark.parametrize("command", ["bundle", "summary"])
def test_what_a_kill_leaves_beside_a_file_outside_the_session_goes_with_the_next_run(
    runner, analysed, tmp_path, command
) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    name = {"bundle": "monitor.zip", "summary": "all.csv"}[command]
    words = {
        "bundle": ("bundle", analysed, "--to", outside / name),
        "summary": ("analyze", analysed, "--summary", outside / name),
    }[command]
    (outside / f".other-{name}.0123456789ab.tmp").write_bytes(b"of another run")
    (outside / f".{name}.of mine.tmp").write_bytes(b"")
    others = sorted(path.name for path in outside.iterdir())
    assert runner.whole(outside, *words) == 0
    whole = (outside / name).read_bytes()
    left_over = 0
    for at in range(1, runner.operations + 1):
        (outside / name).unlink()
        assert runner.killed_at(at, outside, *words)
        left_over += bool(list(outside.glob(f".{name}.*.tmp"))[1:])
        assert not (outside / name).exists() or (outside / name).read_bytes() == whole
        (outside / name).unlink(missing_ok=True)
        assert runner.whole(outside, *words) == 0
        assert (outside / name).read_bytes() == whole
        assert sorted(path.name for path in outside.iterdir()) == sorted([*others, name])
    assert left_over > 0


@pytest.mark.parametrize(
    "words",
    [
        ("show", "harmonics"),
        pytest.param(("check",), marks=pytest.mark.study),
        pytest.param(("origin", "h2", "--hz", "1000", "--level", "86"), marks=pytest.mark.study),
        pytest.param(("report",), marks=pytest.mark.sample),
        pytest.param(("bundle",), marks=pytest.mark.study),
    ],
)
def test_results_that_are_not_what_an_analysis_would_give_say_so(distort, analysed, tmp_path, words) -> None:
    """A table was edited; the plan was; a recording has gone; and nothing of the kind once it was analysed again."""
    session = Path(shutil.copytree(analysed, tmp_path / "monitor"))
    name = "results/default/harmonics_86dB.csv"
    command, *more = words

    def warned(number: int) -> list[str]:
        to = ("--to", tmp_path / f"{number}.zip") if command == "bundle" else ()
        with unmade_figures() if command == "report" else nullcontext():
            ending = distort(command, session, *more, *to)
        assert ending.status == (1 if command == "check" else 0)  # which says what is missing, too
        return [line for line in ending.err.splitlines() if line.startswith("Careful: ")]

    assert warned(1) == []
    path = session / name
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    cells = lines[20].split(",")
    cells[1] = "12.5"
    path.write_text("".join([*lines[:20], ",".join(cells), *lines[21:]]), encoding="utf-8")
    again = f"Run 'distort analyze {session}'."
    assert warned(2) == [f"Careful: {name} is not as it was written. {again}"]
    if command == "report":
        assert f"Careful: {name} is not as it was written." in (session / "results/report.html").read_text("utf-8")
    distort.done("analyze", session)
    assert warned(3) == []
    plan = session / "session.toml"
    plan.write_text(plan.read_text("utf-8").replace('title = ""', 'title = "Ours"'), encoding="utf-8")
    assert warned(4) == []  # words of the report, and comments, are not what the numbers rest on
    plan.write_text(plan.read_text("utf-8").replace('smoothing = "1/12"', 'smoothing = "1/6"'), encoding="utf-8")
    assert warned(5) == [f"Careful: session.toml changed since these results were made. {again}"]
    distort.done("analyze", session)
    assert warned(6) == []
    (session / "results/analysed.json").unlink()
    assert warned(7) == [f"Careful: no analysis of the whole session stands behind these results. {again}"]


@pytest.mark.sample
def test_a_set_up_that_is_corrected_later_is_told_to_change_nothing(distort, analysed, tmp_path) -> None:
    """Whoever measured at 2 m and said 1 m must hear that a new analysis does not put 6 dB right."""
    session = Path(shutil.copytree(analysed, tmp_path / "monitor"))
    plan = session / "session.toml"
    text = (
        plan.read_text("utf-8")
        .replace("distance_m = 1.0", "distance_m = 2")
        .replace("distance_m = 1 ", "distance_m = 2 ")
    )
    plan.write_text(text.replace('unit = ""', 'unit = "left"'), encoding="utf-8")
    kept = [
        'Careful: session.toml says unit = "left", but default was recorded with "", and the results keep that. '
        "To correct it, add or measure them again.",
        "Careful: session.toml says distance_m = 2, but default was recorded with 1, and the results keep that. "
        "To correct it, add or measure them again.",
    ]
    for words in (("analyze",), ("show", "response"), ("check",)):
        assert [line for line in distort(words[0], session, *words[1:]).err.splitlines() if "Careful" in line] == kept


@pytest.mark.study
def test_results_whose_recordings_are_gone_say_so(distort, analysed, tmp_path) -> None:
    session = Path(shutil.copytree(analysed, tmp_path / "monitor"))
    shutil.copytree(session / "results/default", session / "results/shelf")
    findings = session / "results/shelf/findings.json"
    findings.write_text(findings.read_text("utf-8").replace('"condition": "default"', '"condition": "shelf"'), "utf-8")
    gone = "Careful: the recordings of shelf are gone, and its results are all that is left."
    for words in (("analyze",), ("show", "response"), ("report",)):
        assert gone in distort(words[0], session, *words[1:]).err
    assert gone in (session / "results/report.html").read_text("utf-8")


def test_an_interrupt_while_the_commands_load_is_a_word(distort, monkeypatch) -> None:
    """Loading them takes a tenth of a second, in which a user may press the keys already."""
    import builtins

    load = builtins.__import__

    def interrupted(name, *others, **named):
        if name == "distort.commands.table":
            raise KeyboardInterrupt
        return load(name, *others, **named)

    monkeypatch.setattr(builtins, "__import__", interrupted)
    ending = distort("check", "monitor")
    assert (ending.status, ending.err) == (130, "interrupted\n")


def test_a_full_disk_is_called_so(distort, analysed, tmp_path, monkeypatch) -> None:
    session = Path(shutil.copytree(analysed, tmp_path / "monitor"))

    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    assert "the disk is full" in distort.refused("analyze", session, "--again", inside=session)
    monkeypatch.undo()
    distort.done("analyze", session)


def test_a_folder_that_goes_while_it_is_analysed(analysed, tmp_path) -> None:
    session = Path(shutil.copytree(analysed, tmp_path / "monitor"))
    with pytest.raises(DistortError):
        analyze_and_note(session, progress=lambda *_: shutil.rmtree(session, ignore_errors=True))
    outcome = analyze_if_changed(str(session))
    assert outcome.state == "failed"
    assert "there is no folder" in outcome.problem or "holds no session.toml" in outcome.problem


def test_a_clock_that_was_set_back_between_two_levels_changes_no_result(analysed, tmp_path) -> None:
    """Compression compares drives, not times; what only times can tell is left out."""
    session = Path(shutil.copytree(analysed, tmp_path / "monitor"))
    path = session / "recordings/default/sweep_86dB.json"
    sidecar = json.loads(path.read_text(encoding="utf-8"))
    sidecar["date"] = "1999-12-31T23:59:59+00:00"
    path.write_text(json.dumps(sidecar), encoding="utf-8")
    before = table(session / "results/default/compression_sweep.csv")
    analyze_and_note(session, progress=lambda *_: None)
    after = table(session / "results/default/compression_sweep.csv")
    assert list(after) == list(before)
    for name in before:
        assert after[name].tobytes() == before[name].tobytes()


def test_a_clock_that_was_set_back_makes_files_be_read_again(analysed, tmp_path, monkeypatch) -> None:
    """Their time of change then lies in the future, and means nothing."""
    session = Path(shutil.copytree(analysed, tmp_path / "monitor"))
    folder = SessionFolder(session)
    monkeypatch.setattr(note, "JUST_NOW_NS", 0)
    names = input_names(folder, read_plan(session))
    known = note.inputs_seen(folder, names)
    read: list[str] = []
    monkeypatch.setattr(note, "sha256_of_file", lambda path: read.append(path.name) or "0" * 64)
    assert note.inputs_seen(folder, names, known) == known
    assert read == []
    monkeypatch.setattr("time.time_ns", lambda: 946_684_800_000_000_000)
    assert len(note.inputs_seen(folder, names, known)) == len(known) == len(read)


@pytest.mark.first(3)
@pytest.mark.parametrize(
    "name",
    [
        "session.toml",
        "recordings/default/sweep_86dB.wav",
        "recordings/default/sweep_86dB.json",
        "calibration/microphone.json",
        "results/default/findings.json",
        "results/default/harmonics_86dB.csv",
    ],
)
@pytest.mark.parametrize("kind", ["pipe", "link out", "link to itself", "folder"])
def test_what_is_no_file_is_neither_waited_for_nor_followed_out(distort, analysed, tmp_path, name, kind) -> None:
    session = Path(shutil.copytree(analysed, tmp_path / "monitor"))
    outside = tmp_path / "secret"
    outside.write_text("what nobody may see", encoding="utf-8")
    path = session / name
    path.parent.mkdir(exist_ok=True)
    path.unlink(missing_ok=True)
    {
        "pipe": lambda: os.mkfifo(path),
        "link out": lambda: path.symlink_to(outside),
        "link to itself": lambda: path.symlink_to(path.name),
        "folder": path.mkdir,
    }[kind]()
    for words in (("show", session, "harmonics"), ("check", session), ("analyze", session)):
        ending = distort(*words)
        assert ending.status in (0, 1)
        assert "fault in this program" not in ending.err
        assert "nobody may see" not in ending.out + ending.err
    assert outside.read_text(encoding="utf-8") == "what nobody may see"


@pytest.mark.sample
def test_data_is_never_run() -> None:
    """No pickle, no eval, no exec, no loader of objects anywhere in the program; dask and processes send functions of
    this package by their names."""
    import ast

    root = Path(__file__).resolve().parents[1]
    banned = {"marshal", "shelve", "dill", "cloudpickle", "yaml"}  # pickle makes bytes to be hashed, and reads none
    for path in [*(root / "distort").rglob("*.py"), *(root / "signals").rglob("*.py")]:
        for node in nodes_of(path):
            if isinstance(node, ast.Import):
                assert not {alias.name.split(".")[0] for alias in node.names} & banned, path
            if isinstance(node, ast.ImportFrom):
                assert str(node.module).split(".")[0] not in banned | {"pickle"}, path
            if isinstance(node, ast.Attribute) and ast.unparse(node.value) == "pickle":
                assert node.attr == "dumps", path
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in {"eval", "exec", "compile", "__import__"}, path
            if isinstance(node, ast.keyword):
                assert node.arg != "allow_pickle", path
