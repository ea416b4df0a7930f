"""A session that an earlier version recorded, analysed, compared and froze: it opens, and its numbers stand.

`tests/data/README.md` says how it was made. Nothing of it was made by the code under test.
"""

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.blank_figures import unmade_figures
from tests.clumsy_session import CommandLine, contents, table

HELD = Path(__file__).parent / "data" / "earlier_session"

SAME_DB = 1e-3
"""Ten times the last decimal that a table holds: one library's sums may round otherwise than another's."""


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def session(tmp_path) -> Path:
    return Path(shutil.copytree(HELD, tmp_path / "earlier"))


@pytest.mark.parametrize("word", ["response", "harmonics", "multitone", "compression", "quality", "audibility"])
def test_its_results_are_shown(distort, session, word) -> None:
    ending = distort("show", session, word, "--condition", "stand")
    assert ending.status == 0
    assert ending.out


def test_before_it_is_analysed_anew_it_has_no_findings_and_says_so(distort, session) -> None:
    """What lined up then was told otherwise; dips and peaks are there."""
    said = distort.done("show", session, "findings", "--condition", "desk")
    assert "Dips and peaks" in said
    assert "before there were findings: run 'distort analyze' again" in said


def test_it_is_checked_without_complaint_about_its_files(distort, session) -> None:
    """The plan asks for more than was kept of it; what is there is whole and read."""
    before = contents(session / "recordings")
    ending = distort("check", session)
    assert ending.status in {0, 1}
    assert "damaged" not in ending.out + ending.err
    assert "cannot be read" not in ending.out + ending.err
    assert contents(session / "recordings") == before


def test_analysed_anew_its_numbers_are_those_that_it_published(distort, session) -> None:
    """But for intervals of orders and of even and odd, which held noise alone then: it has columns of its own now."""
    recordings = contents(session / "recordings")
    said = distort("analyze", session)
    assert said.status == 0, said
    assert contents(session / "recordings") == recordings
    frozen = session / "frozen/earlier-edition/results"
    tables = sorted(frozen.glob("*/*.csv"))
    assert len(tables) == 15
    for path in tables:
        then, now = table(path), table(session / "results" / path.relative_to(frozen))
        if path.name.startswith(("harmonics", "multitone")):
            now = {name: now[name.replace("_uncertainty", "_noise_uncertainty")] for name in then}
        assert list(then) == list(now)
        if path.name.startswith("harmonics_"):
            then = re_the_input(then, table(path.with_name("compression_sweep.csv")), path.stem.split("_")[1])
        for column in then:
            assert np.array_equal(np.isnan(then[column]), np.isnan(now[column])), (path.name, column)
            difference = np.nanmax(np.abs(then[column] - now[column])) if np.any(~np.isnan(then[column])) else 0.0
            assert difference <= SAME_DB, (path.name, column)
    for condition in ("stand", "desk"):
        then, now = (
            json.loads((place / condition / "findings.json").read_text(encoding="utf-8"))
            for place in (frozen, session / "results")
        )
        assert set(then) - {"coincidences"} | {"findings"} <= set(now)
        assert [level["level_db_spl"] for level in then["levels"]] == [level["level_db_spl"] for level in now["levels"]]
        assert now["simulated"] is True


def re_the_input(then: dict[str, Any], compression: dict[str, Any], level: str) -> dict[str, Any]:
    """The equivalent input, which that version stated re the fundamental as measured, less what that has compressed."""
    change_db = compression[f"change_{level.lower()}"]
    moved = {name: then[name] + change_db for name in then if name.endswith("_equivalent_input_db")}
    return then | moved


@pytest.mark.sample
def test_its_frozen_edition_verifies(distort, session) -> None:
    """No number differs, or each that does is named with what changed: here only the program did."""
    said = distort.done("analyze", session)
    assert "what was frozen as earlier-edition on " in said
    assert "is not there now" not in said
    inputs = {one["file"]: one["sha256"] for one in frozen_edition(session)["inputs"]}
    assert set(inputs) >= {"session.toml", "recordings/stand/sweep_96dB.flac"}


def frozen_edition(session: Path) -> dict:
    return json.loads((session / "frozen/earlier-edition/frozen.json").read_text(encoding="utf-8"))


@pytest.mark.sample
def test_its_conditions_are_compared(distort, session) -> None:
    then = table(session / "results/compare/stand__desk.csv")
    distort.done("compare", f"{session}:stand", f"{session}:desk")
    now = table(session / "results/compare/stand__desk.csv")
    assert list(then) == list(now)
    for column in then:
        both = ~np.isnan(then[column]) & ~np.isnan(now[column])
        assert np.all(np.abs(then[column][both] - now[column][both]) <= SAME_DB), column


@pytest.mark.sample
def test_a_page_is_made_of_it(distort, session) -> None:
    with unmade_figures():
        distort.done("report", session)
    page = (session / "results/report.html").read_text(encoding="utf-8")
    assert "Simulated" in page
