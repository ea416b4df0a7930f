"""The demo as a user meets it: the desk dip, the resonance under it, port and limiter, with their causes."""

import json
import shutil
from pathlib import Path

import pytest

from distort.__main__ import main

DEMO = Path(__file__).parent.parent / "demo_recordings"


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Path:
    folder = Path(shutil.copytree(DEMO, tmp_path_factory.mktemp("demo") / "demo"))
    assert main(["analyze", str(folder)]) == 0
    return folder


def findings(demo: Path, condition: str) -> dict:
    return json.loads((demo / f"results/{condition}/findings.json").read_text(encoding="utf-8"))


def at(found: dict, quantity: str, frequency_hz: float) -> dict:
    """The coincidence of that quantity within 5 % of a frequency; rows of the grid are 3 % apart."""
    near = [
        one
        for one in found["coincidences"]
        if one["quantity"] == quantity and abs(one["frequency_hz"] / frequency_hz - 1.0) < 0.05
    ]
    assert len(near) == 1, found["coincidences"]
    return near[0]


def test_the_desk_makes_a_comb_of_its_own_path(demo) -> None:
    """The simulated desk's way is 14.3 cm longer: dips at odd multiples of 1200 Hz (closed form)."""
    dips = [one for one in findings(demo, "desk")["anomalies"] if one["kind"] == "dip"]
    for dip, expected_hz in zip(dips, (1200.0, 3600.0, 6000.0), strict=False):
        assert dip["frequency_hz"] == pytest.approx(expected_hz, rel=0.01)
        assert dip["shape"] == "interference"
        assert dip["path_difference_m"] == pytest.approx(0.143, rel=0.01)
    assert len(dips) >= 3


def test_the_desk_is_minimum_phase_without_a_gate(demo) -> None:
    """The desk's sound, at most 0.78 of the direct one, is the weaker: a ratio of 1 (closed form), in any room.
    The tail begins 6 ms after the direct sound, inside some of the early sound, and moves it by a few hundredths."""
    dips = [one for one in findings(demo, "desk")["anomalies"] if one["kind"] == "dip"]
    for dip in dips[:3]:
        assert dip["phase"] == "minimum-phase"
        assert dip["excess_turn"] == pytest.approx(1.0, abs=0.05)
        assert dip["excess_turn_uncertainty"] < 0.05


def test_causes_at_the_desk(demo) -> None:
    """At the dip the fundamental falls; at a third of it the surround resonates, and the dip hides its third order."""
    desk = findings(demo, "desk")
    weak = at(desk, "h2", 1200.0)
    assert weak["cause"] == "weak-fundamental"
    assert weak["sentence"].startswith("In this room, at 1.2 kHz the second harmonic rises")
    made = at(desk, "h3", 400.0)
    assert (made["cause"], made["anomaly_at"]) == ("made-here", 3)
    assert made["evidence"]["source_db"] > 5.0 > made["evidence"]["rise_db"]


def test_on_the_stand_the_resonance_stands_alone(demo) -> None:
    made = at(findings(demo, "stand"), "h3", 400.0)
    assert (made["cause"], made["anomaly"]) == ("made-here", None)
    assert made["chance_probability"] is None
    assert not [one for one in findings(demo, "stand")["coincidences"] if one["cause"] == "weak-fundamental"]


@pytest.mark.parametrize("condition", ["stand", "desk"])
def test_port_and_limiter_are_the_loudspeakers_own(demo, condition) -> None:
    """The port (48 Hz) compresses from 96 dB on, the limiter of the low band at 101 dB."""
    bands = [
        one
        for one in findings(demo, condition)["coincidences"]
        if one["quantity"] == "compression_sweep" and one["anomaly"] is None
    ]
    assert {one["cause"] for one in bands} == {"own-compression"}
    port = next(one for one in bands if one["level"] == 96.0)
    assert port["low_hz"] < 48.0 < port["high_hz"] < 100.0
    limiter = next(one for one in bands if one["level"] == 101.0 and one["low_hz"] < 100.0)
    assert limiter["high_hz"] > 1000.0


def test_what_is_printed(demo, capsys) -> None:
    assert main(["show", str(demo), "coincidences"]) == 0
    printed = capsys.readouterr().out
    assert "weak-fundamental" in printed
    assert "To be sure:" in printed
    table = printed[printed.index("no. at Hz") :].split("\n\n")[0]
    assert max(map(len, table.splitlines())) <= 80
    assert main(["show", str(demo), "coincidences", "--json"]) == 0
    machine = json.loads(capsys.readouterr().out)
    assert [one["condition"] for one in machine] == ["desk", "stand"]
    keys = {"anomaly", "quantity", "level", "frequency_hz", "cause", "evidence", "chance_probability", "sentence"}
    assert keys <= set(machine[0]["coincidences"][0])
