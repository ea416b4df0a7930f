"""Results of a session there and back, and the commands that show them."""

import dataclasses
from collections.abc import Iterator

import numpy as np
import pytest

from distort import __main__ as program
from distort.errors import SessionError
from distort.report.figures.session_figures import figures_of
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Loudspeaker, ReportPlan, Setup
from distort.session.plan.template import plan_text, write_plan
from distort.session.recordings.sidecar import Quality
from distort.session.results.condition_results import (
    ConditionResults,
    Findings,
    LevelFound,
    RecordingUsed,
    read_results,
    write_results,
)
from tests.blank_figures import blank_figures
from tests.report_examples import harmonics, response


def results(condition: str, *, simulated: bool = True, levels: tuple[float, ...] = (86.0, 96.0)) -> ConditionResults:
    found = tuple(
        LevelFound(
            level_db_spl=level,
            drive_dbfs=level - 110.0,
            measured_db=level - 0.2,
            unit="db_spl",
            delay_s=0.003,
            lowest_valid_hz=25.0,
        )
        for level in levels
    )
    used = RecordingUsed(
        file=f"recordings/{condition}/sweep_86dB.flac", sha256="0" * 64, quality=Quality(verdict="good"), rejected=None
    )
    findings = Findings(
        loudspeaker=Loudspeaker(name="Monitor A"),
        setup=Setup(conditions=("stand", "desk")),
        condition=condition,
        simulated=simulated,
        software="distort 0.1.0",
        smoothing="1/12",
        gate_ms=None,
        recordings=(used,),
        levels=found,
        multitones=(),
        compression=(),
        no_compression=None,
    )
    curves = tuple(harmonics(lift_db=level - 96.0) for level in levels)
    return ConditionResults(findings=findings, responses=tuple(response(level) for level in levels), harmonics=curves)


@pytest.fixture
def session(tmp_path) -> SessionFolder:
    write_plan(tmp_path, plan_text(name="Monitor A", levels_db_spl=(86.0, 96.0), conditions=("stand", "desk")))
    folder = SessionFolder(tmp_path)
    for condition in ("stand", "desk"):
        write_results(folder, results(condition))
    return folder


@pytest.fixture
def blank() -> Iterator[None]:
    with blank_figures():
        yield


def test_results_read_back_as_they_were_written(session) -> None:
    written, read = results("desk"), read_results(session, "desk")
    assert read.findings == written.findings
    for before, after in zip((*written.responses, *written.harmonics), (*read.responses, *read.harmonics), strict=True):
        for field in dataclasses.fields(before):
            if field.name not in {"orders", "unit"}:
                # tables hold at least four decimals
                np.testing.assert_allclose(
                    getattr(after, field.name), getattr(before, field.name), atol=6e-5, rtol=1e-5
                )
    assert [order.order for order in read.harmonics[0].orders] == list(range(2, 11))


def test_without_results_the_user_is_told_what_to_run(tmp_path, capsys) -> None:
    write_plan(tmp_path, plan_text(name="Monitor A", levels_db_spl=(86.0,)))
    for words in (["show", str(tmp_path), "response"], ["report", str(tmp_path)]):
        assert program.main(words) == 1
        assert "run `distort analyze" in capsys.readouterr().err
    with pytest.raises(SessionError, match="no results yet"):
        read_results(SessionFolder(tmp_path), "desk")


def test_show_harmonics(session, capsys) -> None:
    assert program.main(["show", str(session.root), "harmonics", "--condition", "desk", "--level", "96"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "Monitor A, condition desk"
    assert lines[1] == "Simulated loudspeaker, not a measurement."
    assert "96 dB SPL nominal, drive -14.0 dBFS, measured 95.8 dB SPL" in lines
    assert not any(line.startswith("86 dB") for line in lines)
    assert [line[:3].strip() for line in lines if line.startswith("H")][1:] == [f"H{n}" for n in range(2, 11)]
    assert max(map(len, lines)) <= 80


def test_show_response_of_all_conditions(session, capsys) -> None:
    assert program.main(["show", str(session.root), "response"]) == 0
    out = capsys.readouterr().out
    assert out.index("condition stand") < out.index("condition desk"), "in the order of the plan"
    assert out.count("96 dB") == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["harmonics", "--level", "90"], "there are 86, 96"),
        (["harmonics", "--condition", "shelf"], "there are desk, stand"),
        (["response", "--level", "96"], "--level goes with harmonics"),
        (["phase"], "argument WHAT: 'phase' is none of overview, quality"),
    ],
)
def test_show_refuses_what_is_not_there(session, capsys, words, said) -> None:
    assert program.main(["show", str(session.root), *words]) == 2
    assert said in capsys.readouterr().err


def test_a_folder_that_is_no_session(tmp_path, capsys) -> None:
    assert program.main(["show", str(tmp_path), "response"]) == 1
    assert "distort new" in capsys.readouterr().err


def test_a_real_loudspeaker_is_not_called_simulated(session, capsys) -> None:
    write_results(session, results("desk", simulated=False))
    assert program.main(["show", str(session.root), "response", "--condition", "desk"]) == 0
    assert "imulated" not in capsys.readouterr().out


def test_report_draws_every_figure(session, capsys, blank) -> None:
    assert program.main(["report", str(session.root)]) == 0
    out = capsys.readouterr().out
    names = {path.name for path in (session.root / "results" / "figures").glob("*.*g")}
    kinds = ("response", "quality", "thd", "harmonics_86dB", "harmonics_96dB", "harmonics-absolute_96dB")
    stems = {
        "_".join((kind, where, *level))
        for where in ("desk", "stand")
        for kind, *level in (each.split("_") for each in kinds)
    }
    assert names == {f"{stem}.{kind}" for stem in stems for kind in ("png", "svg")}
    assert out.count("Drew ") == len(names)
    assert "report.html" in out
    assert program.main(["report", str(session.root)]) == 0
    assert capsys.readouterr().out.startswith("Nothing changed since")


@pytest.mark.sample
def test_report_removes_figures_of_levels_that_are_gone_and_leaves_the_users(session, capsys, blank) -> None:
    figures = session.figures_folder()
    figures.mkdir(parents=True)
    stale = figures / "harmonics_desk_101.5dB.png"
    own = figures / "photo_of_the_desk.png"
    for path in (stale, own):
        path.write_bytes(b"old")
    assert program.main(["report", str(session.root), "--condition", "desk"]) == 0
    assert not stale.exists()
    assert own.read_bytes() == b"old"


@pytest.mark.sample
def test_all_figures_of_a_session_share_their_scales(session) -> None:
    write_results(session, results("stand", levels=(60.0, 131.0)))
    conditions = tuple(read_results(session, name) for name in ("desk", "stand"))
    drawn = {stem: draw() for stem, draw in figures_of(conditions, ReportPlan()).items()}
    for kind in ("response_", "harmonics_"):
        limits = {figure.axes[0].get_ylim() for name, figure in drawn.items() if name.startswith(kind)}
        assert len(limits) == 1, kind
    assert drawn["harmonics_desk_86dB"].axes[0].get_ylim()[1] > 0.0
