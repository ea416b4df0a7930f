"""Many sessions: in processes and on a cluster, bit for bit as alone; only what changed; what fails stops no other."""

import csv
import io
import json
import os
import select
import shutil
import signal
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import soundfile

from distort.archive import (
    SUMMARY_COLUMNS,
    Outcome,
    analyze_archive,
    analyze_if_changed,
    analyze_in_processes,
    find_sessions,
    write_summary,
)
from distort.errors import SessionError
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.results.inputs import input_names
from distort.session.results.software import software
from tests.clumsy_session import AS_THE_SWEEP, RATE, contents, table

pytest_plugins = ["tests.clumsy_fixtures"]


def quiet(what: str, done: int, total: int) -> None:
    pass


@pytest.fixture(scope="module")
def recorded(made, good, tmp_path_factory) -> Path:
    """A session with one sweep in it, never analysed; no test may change it."""
    from distort.__main__ import main

    place = tmp_path_factory.mktemp("recorded")
    session = Path(shutil.copytree(made, place / "monitor"))
    soundfile.write(place / "take.wav", good, RATE, subtype="FLOAT")
    assert main(["add", str(session), str(place / "take.wav"), *AS_THE_SWEEP]) == 0
    return session


@pytest.fixture
def archive(recorded, tmp_path) -> Path:
    """Three good sessions and one, the second, whose recording has lost its sidecar."""
    place = tmp_path / "archive"
    for name in ("a", "b", "c", "d"):
        shutil.copytree(recorded, place / "year" / name)
    (place / "year/b/recordings/default/sweep_86dB.json").unlink()
    return place


def tables(session: Path) -> dict[str, bytes]:
    """Results, without the note of what they rest on: it holds times."""
    return {name: held for name, held in contents(session / "results").items() if name != "analysed.json"}


def rows_of(path: Path) -> list[list[str]]:
    """A CSV file as spreadsheets read it (RFC 4180)."""
    return list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8"), newline="")))


def states(outcomes: tuple[Outcome, ...]) -> str:
    return " ".join(one.state for one in outcomes)


@pytest.mark.sample
def test_processes_give_what_a_single_run_gives_bit_for_bit(distort, archive, recorded, tmp_path) -> None:
    alone = Path(shutil.copytree(recorded, tmp_path / "alone"))
    distort.done("analyze", alone)
    ending = distort("analyze", archive, "--jobs", "2", "--summary", tmp_path / "all.csv")
    assert ending.status == 1
    assert "4 sessions: 3 analysed, 1 failed." in ending.out
    assert f"{archive / 'year/b'} failed: " in ending.out
    assert "has no sidecar" in ending.out
    assert len(tables(alone)) > 3
    for name in ("a", "c", "d"):
        assert tables(archive / "year" / name) == tables(alone)
    header, *cells = rows_of(tmp_path / "all.csv")
    rows = [dict(zip(header, row, strict=True)) for row in cells]
    assert [(row["session"][-1], row["state"], row["level_db_spl"]) for row in rows] == [
        ("a", "analysed", "86.0"),
        ("b", "failed", ""),
        ("c", "analysed", "86.0"),
        ("d", "analysed", "86.0"),
    ]
    findings = json.loads((alone / "results/default/findings.json").read_text(encoding="utf-8"))
    assert float(rows[0]["measured_db"]) == findings["levels"][0]["measured_db"]
    harmonics = table(alone / "results/default/harmonics_86dB.csv")
    (at_1k,) = harmonics["thd_percent"][harmonics["frequency_hz"] == 1000.0]
    assert float(rows[0]["thd_1000hz_percent"]) == at_1k
    with ThreadPoolExecutor(1) as pool:
        again = analyze_archive(find_sessions([archive]), pool, progress=quiet)
    assert states(again) == "unchanged failed unchanged unchanged"
    assert [one.rows for one in again if one.rows] == [(tuple(again[0].rows[0]),)] * 3


@pytest.mark.study
@pytest.mark.parametrize("workers", [1, 2])
def test_a_cluster_gives_the_same(archive, recorded, tmp_path, workers) -> None:
    """dask.distributed, as an engine that a laboratory may have; any other `concurrent.futures.Executor` will do."""
    from distributed import Client, LocalCluster

    alone = Path(shutil.copytree(recorded, tmp_path / "alone"))
    analyze_if_changed(str(alone))
    seen = []
    with (
        LocalCluster(n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None) as cluster,
        Client(cluster) as client,
    ):
        outcomes = analyze_archive(
            find_sessions([archive]), client.get_executor(), progress=lambda what, done, total: seen.append(done)
        )
    assert states(outcomes) == "analysed failed analysed analysed"
    assert seen == [1, 2, 3, 4]
    for name in ("a", "c", "d"):
        assert tables(archive / "year" / name) == tables(alone)


@pytest.mark.sample
def test_only_what_changed_is_done_again(recorded, tmp_path) -> None:
    session = Path(shutil.copytree(recorded, tmp_path / "monitor"))
    folder = session / "recordings/default"

    def state() -> str:
        return analyze_if_changed(str(session)).state

    assert [state(), state()] == ["analysed", "unchanged"]
    assert analyze_if_changed(str(session), again=True).state == "analysed"
    # touched, but the same bytes
    os.utime(folder / "sweep_86dB.wav")
    assert state() == "unchanged"
    # an empty folder is no input, nor are notes and what was frozen
    (session / "calibration").mkdir()
    (folder / "notes.txt").write_text("rain on the roof", encoding="utf-8")
    (session / "calibration/notes.json").write_text("{}", encoding="utf-8")
    (session / "results/default/notes.csv").write_text("1,2", encoding="utf-8")
    shutil.copytree(session / "results", session / "frozen/issue-12/results")
    assert state() == "unchanged"
    for change in (
        (session / "results/default/response_86dB.csv").unlink,
        lambda: (session / "results/default/harmonics_86dB.csv").write_text("frequency_hz\n"),
        lambda: (session / "results/analysed.json").write_text("{}"),
        lambda: (session / "session.toml").write_text((session / "session.toml").read_text() + "# a word\n"),
        lambda: (session / "calibration/drive.json").write_text("{}"),
        (session / "calibration/drive.json").unlink,
    ):
        change()
        assert [state(), state()] == ["analysed", "unchanged"]


def test_audio_with_its_old_size_and_date_is_still_found_out(recorded, tmp_path) -> None:
    """The time of change cannot be set back; so the single run's refusal is not slept through."""
    session = Path(shutil.copytree(recorded, tmp_path / "monitor"))
    path = session / "recordings/default/sweep_86dB.wav"
    assert analyze_if_changed(str(session)).state == "analysed"
    seen = path.stat()
    spoilt = bytearray(path.read_bytes())
    spoilt[-5] ^= 1
    path.write_bytes(spoilt)
    os.utime(path, ns=(seen.st_atime_ns, seen.st_mtime_ns))
    outcome = analyze_if_changed(str(session))
    assert outcome.state == "failed"
    assert "its SHA-256 differs" in outcome.problem


def test_untouched_audio_is_not_read_again(recorded, tmp_path, monkeypatch) -> None:
    from distort.session.results import analysed

    session = Path(shutil.copytree(recorded, tmp_path / "monitor"))
    monkeypatch.setattr(analysed, "JUST_NOW_NS", 0)
    assert analyze_if_changed(str(session)).state == "analysed"
    read = []
    monkeypatch.setattr(analysed, "sha256_of_file", lambda path: read.append(path.name) or "0" * 64)
    folder = SessionFolder(session)
    analysed.inputs_seen(folder, input_names(folder, read_plan(session)), analysed.read_analysed(folder).inputs)
    assert read == []


def test_other_software_means_another_analysis(recorded, tmp_path, monkeypatch) -> None:
    session = Path(shutil.copytree(recorded, tmp_path / "monitor"))
    assert analyze_if_changed(str(session)).state == "analysed"
    monkeypatch.setattr("distort.session.results.analysed.software", lambda: "distort 99")
    assert analyze_if_changed(str(session)).state == "analysed"
    assert analyze_if_changed(str(session)).state == "unchanged"


def test_software_names_the_version_the_sources_and_the_libraries() -> None:
    assert software().startswith("distort ")
    assert all(f"{name} " in software() for name in ("numpy", "scipy", "soundfile"))


def test_a_session_in_use_fails_and_stops_no_other(archive) -> None:
    from distort.session.files.lock import locked

    with locked(archive / "year/a"), ThreadPoolExecutor(1) as pool:
        outcomes = analyze_archive(find_sessions([archive]), pool, progress=quiet)
    assert states(outcomes) == "failed failed analysed analysed"
    assert f"is in use by process {os.getpid()} on" in outcomes[0].problem


def dies_on_b(session: str, again: bool) -> Outcome:
    if session.endswith("b"):
        os.kill(os.getpid(), signal.SIGKILL)
    return Outcome(session=session, state="analysed")


@pytest.mark.study
def test_a_process_that_is_killed_takes_its_own_session_alone(archive) -> None:
    outcomes = analyze_in_processes(find_sessions([archive]), jobs=2, progress=quiet, work=dies_on_b)
    assert states(outcomes) == "analysed failed analysed analysed"
    assert "ended without a word" in outcomes[1].problem


HAND_OUT = """
import os, sys
from distort.processes import other_processes
if __name__ == "__main__":
    pool = other_processes(1)
    print(pool.submit(os.getpid).result(), flush=True)
    sys.stdin.read()
"""


def test_no_process_is_left_when_the_first_is_killed(tmp_path) -> None:
    """Its standard output ends when the last process that holds it has ended: the killed one and those it started."""
    script = tmp_path / "hand_out.py"
    script.write_text(HAND_OUT, encoding="utf-8")
    first = subprocess.Popen([sys.executable, script], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert first.stdin is not None
    assert first.stdout is not None
    other = int(first.stdout.readline())
    os.kill(other, 0)  # it runs
    first.kill()
    ended, _, _ = select.select([first.stdout], [], [], 30.0)
    assert ended, "a process was left"
    assert first.stdout.read() == b""
    first.wait()
    first.stdin.close()
    first.stdout.close()


def test_an_engine_that_gives_up(archive) -> None:
    def gives_up(session: str, again: bool) -> Outcome:
        raise ConnectionError("the scheduler is gone")

    with ThreadPoolExecutor(1) as pool:
        outcomes = analyze_archive(find_sessions([archive]), pool, progress=quiet, work=gives_up)
    assert states(outcomes) == "failed failed failed failed"
    assert "the scheduler is gone" in outcomes[0].problem


def test_an_interruption_cancels_what_has_not_begun(archive) -> None:
    begun, go = [], threading.Event()

    def slow(session: str, again: bool) -> Outcome:
        begun.append(session)
        if len(begun) > 1:
            go.wait(10)
        return Outcome(session=session, state="analysed")

    def interrupt(what: str, done: int, total: int) -> None:
        raise KeyboardInterrupt

    with ThreadPoolExecutor(1) as pool:
        with pytest.raises(KeyboardInterrupt):
            analyze_archive(find_sessions([archive]), pool, progress=interrupt, work=slow)
        go.set()
    assert len(begun) <= 2


def test_a_plan_edited_meanwhile_leaves_no_note(recorded, tmp_path) -> None:
    from distort.archive import analyze_and_note

    session = Path(shutil.copytree(recorded, tmp_path / "monitor"))

    def edit(what: str, done: int, total: int) -> None:
        with (session / "session.toml").open("a", encoding="utf-8") as file:
            file.write("# edited\n")

    analyze_and_note(session, progress=edit)
    assert not (session / "results/analysed.json").exists()
    assert analyze_if_changed(str(session)).state == "analysed"


def test_folders_of_sessions_are_searched_and_others_refused(archive, tmp_path) -> None:
    year = archive / "year"
    assert find_sessions([archive, year / "c"]) == (year / "a", year / "b", year / "c", year / "d")
    assert find_sessions([year / "d", archive])[0] == year / "d"
    (tmp_path / "empty").mkdir()
    with pytest.raises(SessionError, match=r"holds no session\.toml"):
        find_sessions([tmp_path / "empty"])
    with pytest.raises(SessionError, match="there is no folder"):
        find_sessions([tmp_path / "none"])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--condition", "desk"), "--condition goes with one session"),
        (("--json",), "--json goes with one session"),
        (("--jobs", "0"), "'0' is no number of processes"),
        (("--stimulus", "x.json"), "--stimulus goes with one recording"),
    ],
)
def test_words_that_do_not_go_with_many(distort, archive, words, said) -> None:
    assert said in distort.refused("analyze", archive / "year/a", archive / "year/c", *words, status=2, inside=archive)


def test_no_cell_of_the_summary_is_a_formula(tmp_path) -> None:
    """OWASP, "CSV Injection": what spreadsheets run. Read back as spreadsheets do, by RFC 4180."""
    evil = ('=HYPERLINK("http://x")', "+1", "-1", "@SUM(1)", "\t=1", "\r=1", " =1", "\uff1d1", "a\n=1", 'a",=1,"')
    rows = tuple(Outcome(session=text, state="failed", problem=text) for text in evil)
    write_summary(tmp_path / "all.csv", rows)
    read = rows_of(tmp_path / "all.csv")
    assert len(read) == len(evil) + 1
    assert all(len(row) == len(SUMMARY_COLUMNS) for row in read)
    for row in read[1:]:
        assert row[1] == "failed"
        for cell in row:
            assert cell.lstrip()[:1] not in ("=", "+", "-", "@", "\uff1d"), cell
            assert "\n" not in cell
