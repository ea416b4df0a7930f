"""A session with near fields from end to end: its port blows, and that is what is said."""

import json
from pathlib import Path

import pytest

from distort.report.figures.session_figures import legend_of
from distort.report.page.facts import setup_facts
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import ReportPlan
from distort.session.results.condition_results import read_results
from tests.blank_figures import blank_figures
from tests.clumsy_session import CommandLine
from tests.near_field_session import make

pytestmark = pytest.mark.sample


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """Analysed; no test may change it but by adding comparisons."""
    from distort.__main__ import main

    class Quiet(CommandLine):
        def done(self, *words: object) -> str:
            assert main([str(word) for word in words]) == 0
            return ""

    root = tmp_path_factory.mktemp("near") / "box"
    make(root, Quiet(None))  # type: ignore[arg-type]
    assert main(["analyze", str(root)]) == 0
    return root


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


def test_the_port_makes_it(made, distort) -> None:
    said = distort.done("show", made, "findings")
    _, across = said.split("Across conditions\n")
    together = " ".join(across.split())
    assert together.startswith("158 Hz: the loudspeaker itself makes")
    assert "stronger re its fundamental at port than at cone." in together
    assert together.endswith("weaker at cone than in stand: cone does not make it, port does.")
    assert "cone does not make it, port does." in " ".join(distort.done("show", f"{made}:stand", "findings").split())
    assert "Across" not in distort.done("show", f"{made}:cone", "findings")
    (one,) = json.loads((made / "results/findings.json").read_text())["findings"]
    assert (one["explanation"], one["conditions"][0]) == ("loudspeaker-generated", "stand")
    assert one["verdict"].endswith("cone does not make it, port does.")


def test_nothing_is_compared_by_level(made, distort) -> None:
    with blank_figures():
        said = " ".join(distort.done("compare", f"{made}:cone", f"{made}:port").split())
    document = json.loads((made / "results/compare/cone__port.json").read_text())
    assert {one["quantity"] for one in document["quantities"]} == {"h2", "h3", "h4"}
    assert document["unlike"] == []
    assert document["near_field_hz"] == pytest.approx(1092.5, abs=0.1)  # 343.2 m/s over 2 pi 0.05 m, to its digits
    for one in document["quantities"]:
        assert one["to_hz"] is None or one["to_hz"] * int(one["quantity"][1:]) <= document["near_field_hz"]
    assert "Only orders re the fundamental are compared, where n f lies below 1.09 kHz (where ka = 1)" in said
    assert "What this proves of the findings: 158 Hz: the loudspeaker itself makes" in said
    assert "Compression" not in said
    assert "not compared: a near field has a response of its own" in said
    refused = distort("compare", f"{made}:stand", f"{made}:cone", "--basis", "output")
    assert (refused.status, refused.out) == (1, "")
    assert "the output of a near field is none at a distance" in refused.err


def test_nobody_listens_in_the_near_field(made, distort) -> None:
    said = distort.done("show", f"{made}:cone", "findings")
    assert "Near field, 0.01 m: its levels say nothing of what is heard at a distance" in " ".join(said.split())
    assert json.loads((made / "results/cone/findings.json").read_text())["audibility"] == []
    stand, cone = (read_results(SessionFolder(made), name) for name in ("stand", "cone"))
    assert legend_of(stand, ReportPlan()).caption().startswith("Microphone at 1 m, levels referred to 1 m;")
    assert legend_of(cone, ReportPlan()).caption().startswith("Microphone at 0.01 m, near field, whose levels say")
    assert ("Microphone", "0.01 m away; near field, whose levels say nothing of 1 m") in setup_facts(cone.findings)
