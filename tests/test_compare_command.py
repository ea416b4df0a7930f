"""`distort compare` as a user meets it: two conditions, two loudspeakers, repeats, and what cannot be compared."""

import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from distort.__main__ import main
from distort.analysis.common.grid import grid_hz
from distort.analysis.common.quantities import RESPONSE
from distort.assembly.comparison.side import read_side
from distort.capture.measuring.playing import measure
from distort.capture.measuring.starting import Choice
from distort.recording.takes import set_ups_of_each_level, takes_of_each_level
from distort.report.text.comparison import uncertainty_sentence
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.recordings.sidecar import read_sidecar, write_sidecar
from distort.session.recordings.stored import load_recordings
from distort.session.results.comparison_files import FILES, KEYS, LATER, SEAL
from tests.blank_figures import unmade_figures
from tests.clumsy_session import CommandLine, shorten, table
from tests.devices.quick_monitor import quick_monitor, quickly_simulated


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


ORDERS = 5
QUICK = {"seconds": "1.6", "orders": str(ORDERS)}
"""Of these stimuli: a sweep that is long enough for so many orders."""


def quietly(what: str, done: int, total: int) -> None:
    """Nobody watches."""


@pytest.fixture(scope="module", autouse=True)
def quick() -> Iterator[None]:
    with quickly_simulated(), unmade_figures():
        yield


@pytest.fixture(scope="module")
def session(tmp_path_factory) -> Path:
    """On a stand, on a desk, and on the stand once more with noise of its own; two levels, short stimuli."""
    root = tmp_path_factory.mktemp("work") / "monitor"
    made = ["new", str(root), "--levels", "86,96", "--conditions", "stand,desk,copy", "--name", "Monitor A"]
    assert main(made) == 0
    shorten(root, **QUICK)
    folder, plan = SessionFolder(root), read_plan(root)
    assert main(["measure", str(root), "--simulate", "--condition", "stand"]) == 0
    for only in ("sweep_86dB", "sweep_96dB", "multitone_96dB"):
        assert main(["measure", str(root), "--simulate", "--condition", "desk", "--only", only]) == 0
    again = quick_monitor(plan, "copy", takes_before=50)
    for only in ("sweep_86dB", "sweep_96dB"):
        measure(folder, plan, again, Choice(condition="copy", only=only), progress=quietly)
    return root


@pytest.fixture
def copied(session, tmp_path) -> Path:
    """The same, to be changed."""
    return Path(shutil.copytree(session, tmp_path / "monitor"))


def test_the_desk_against_the_stand(distort, session) -> None:
    """What the desk does is known: a reflection whose first dip lies at 1090 Hz (tests/devices/quick_monitor.py)."""
    out = distort.done("compare", f"{session}:stand", f"{session}:desk")
    lines = out.splitlines()
    assert lines[0] == "stand (A) and desk (B) at equal drive: every difference is B less A"
    assert lines[1] == "Simulated loudspeaker, not a measurement."
    assert lines[3] == "Stimuli, gate, distance, loudspeaker, microphone and calibration were alike."
    assert "Intervals (+-, 95 %) hold noise alone" in out
    assert (
        out.index("were alike")
        < out.index("B less A  ")
        < out.index("Response, 96 dB: changed by -")
        < out.index("Written")
    )
    assert "run `distort analyze" in out  # for dips and findings
    assert all(len(line) <= 80 for line in lines[5:18])
    stem = session / "results/compare/stand__desk"
    findings = json.loads(stem.with_suffix(".json").read_text(encoding="utf-8"))
    response = next(one for one in findings["quantities"] if (one["quantity"], one["level"]) == ("response", 96.0))
    assert response["changed"]
    assert response["regions"][0]["peak_hz"] == pytest.approx(1090.0, rel=0.03)  # a row is 1/24 octave: 2.9 %
    for quantity in ("response", "thd", "h2", "h3"):
        assert stem.with_name(f"stand__desk_{quantity}_96dB.png").read_bytes().startswith(b"\x89PNG")


def test_the_table_of_a_comparison(distort, session) -> None:
    """The difference in the table is that of the two tables of `analyze`, in twelfths of an octave as they are."""
    distort.done("compare", f"{session}:stand", f"{session}:desk")
    distort.done("analyze", session)
    difference = table(session / "results/compare/stand__desk.csv")
    a, b = (table(session / f"results/{condition}/response_96dB.csv") for condition in ("stand", "desk"))
    np.testing.assert_allclose(difference["frequency_hz"], grid_hz(), rtol=0, atol=5.1e-5)  # four decimals
    rows = np.isfinite(difference["response_96db"])
    assert rows.sum() > 200
    expected = (b["level_db_spl"] - a["level_db_spl"])[rows]
    np.testing.assert_allclose(difference["response_96db"][rows], expected, rtol=0, atol=2e-4)  # three roundings
    orders = [table(session / f"results/{condition}/harmonics_96dB.csv") for condition in ("stand", "desk")]
    rows = np.isfinite(difference["h2_96db"])
    assert rows.sum() > 100
    expected = (orders[1]["h2_db"] - orders[0]["h2_db"])[rows]
    np.testing.assert_allclose(difference["h2_96db"][rows], expected, rtol=0, atol=2e-4)
    assert set(difference["h2_96db_changed"][rows]) <= {0.0, 1.0}
    assert np.all(difference["h2_96db_together"][rows] > difference["h2_96db_uncertainty"][rows])
    thirds = np.isfinite(difference["response_96db_third"])
    assert 25 < thirds.sum() <= 31
    assert np.isfinite(difference["even_96db"]).sum() > 5
    shutil.rmtree(session / "results")


@pytest.mark.study
def test_the_same_condition_twice_shows_no_change(distort, session) -> None:
    """The stand once more, with other noise: nothing is named, and something is excluded."""
    out = distort.done("compare", f"{session}:stand", f"{session}:copy")
    assert "changed by" not in out
    assert "none >" in out
    assert "is excluded" in out
    found = json.loads((session / "results/compare/stand__copy.json").read_text(encoding="utf-8"))
    response = next(one for one in found["quantities"] if one["quantity"] == "response")
    assert response["excluded_above_db"] < 0.5
    assert not any(one["changed"] for one in found["quantities"])
    said = {key: value for key, value in found.items() if key in KEYS | LATER}
    assert set(found) - set(said) == {FILES, SEAL}
    assert distort.done("compare", f"{session}:stand", f"{session}:copy", "--json") == json.dumps(said, indent=2) + "\n"


def test_a_set_up_made_anew_is_counted_and_left_to_compare(copied) -> None:
    folder = SessionFolder(copied)
    plan = read_plan(copied)
    device = quick_monitor(plan, "copy", takes_before=90)
    anew = Choice(condition="copy", only="sweep_96dB", again=True, repositioned=True)
    measure(folder, plan, device, anew, progress=quietly)
    recordings = load_recordings(folder, "copy")
    assert [one.sidecar.repositioned for one in recordings if one.sidecar.stimulus_name == "sweep"] == [
        False,
        False,
        True,
    ]
    assert [len(parts) for parts in set_ups_of_each_level(recordings, "sweep").values()] == [1, 2]
    assert [len(takes) for takes in takes_of_each_level(recordings, "sweep").values()] == [1, 1]
    side = read_side(folder, "copy", name="copy", progress=quietly)
    assert (side.set_ups, side.takes) == (2, 1)
    replicated = {one.level_db_spl for one in side.curves if one.quantity == RESPONSE and one.count == 2}
    assert replicated == {96.0}


def test_what_was_unlike_comes_first(distort, copied) -> None:
    """Another distance, temperature, firmware, calibration and date for one side, written into its sidecars."""
    for path in sorted((copied / "recordings/desk").glob("*.json")):
        sidecar = read_sidecar(path)
        changed = replace(
            sidecar,
            setup=replace(sidecar.setup, distance_m=0.5, temperature_c=30.0),
            loudspeaker=replace(sidecar.loudspeaker, firmware="1.1"),
            calibration=replace(sidecar.calibration, calibrator_dbfs=-20.0),
            date="2026-01-01T00:00:00+00:00",
        )
        write_sidecar(path, changed)
    out = distort.done("compare", f"{copied}:stand", f"{copied}:desk", "--calibration-uncertainty", "0.3")
    head = out[: out.index("B less A  ")]
    assert "firmware: A not said and B 1.1" in head
    assert "distance: A 1 m and B 0.5 m" in head
    # 10 K of 293 K: half of 3.4 % (c goes with the square root of the absolute temperature)
    assert "temperature: A 20 degC and B 30 degC (sound is 1.7 % faster in B" in head
    assert "calibration: A" in head
    assert "date: A" in head
    assert "0.3 dB of calibration" in head
    assert "were alike" not in head


@pytest.mark.sample
def test_two_loudspeakers_at_equal_output(distort, copied, session, tmp_path) -> None:
    """Another loudspeaker is compared at equal output by itself; beyond its rungs nothing is said."""
    other = tmp_path / "other"
    assert main(["new", str(other), "--levels", "89,97", "--name", "Monitor B"]) == 0
    shorten(other, **QUICK)
    for only in ("sweep_89dB", "sweep_97dB"):
        distort.done("measure", other, "--simulate", "--only", only)
    out = distort.done("compare", f"{copied}:stand", other)
    assert "at equal output" in out
    assert "loudspeaker: A Monitor A and B Monitor B" in out
    assert "other:default is interpolated between 89 and 97 dB" in out
    assert "nothing is extrapolated" in out
    assert (copied / "results/compare/monitor-stand__other-default.csv").is_file()
    # the same loudspeaker at the same output: the same response, but for what interpolation leaves
    found = table(copied / "results/compare/monitor-stand__other-default.csv")
    rows = np.isfinite(found["response_96db_third"])
    assert np.median(np.abs(found["response_96db_third"][rows])) < 0.05
    assert "no level of" in distort.refused("compare", f"{copied}:stand", other, "--basis", "drive", inside=other)


def test_volume_that_nobody_knows(distort, copied) -> None:
    for path in sorted((copied / "recordings/desk").glob("*.json")):
        write_sidecar(path, replace(read_sidecar(path), turned_db=None))
    out = distort.done("compare", f"{copied}:stand", f"{copied}:desk")
    assert "volume control: B not said" in out
    assert "Compr." not in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("{0}:stand", "{0}:stand"), "stands on both sides"),
        (("{0}", "{0}:desk"), "say which condition of"),
        (("{0}:stand", "{0}:table"), "no recordings of condition 'table'"),
        (("{0}:stand", "{0}:desk", "--calibration-uncertainty", "0"), "not above 0"),
    ],
)
def test_sides_that_are_not_clear(distort, session, words, said) -> None:
    filled = [word.format(session) for word in words]
    assert said in distort.refused("compare", *filled, status=2, inside=session / "recordings")


def test_a_side_that_is_not_there(distort, session, tmp_path) -> None:
    assert "there is no folder" in distort.refused("compare", f"{session}:stand", tmp_path / "no", inside=tmp_path)


def test_the_simulated_loudspeaker_is_not_set_up_anew(distort, copied) -> None:
    words = ("measure", copied, "--simulate", "--condition", "desk", "--again", "--repositioned")
    assert "cannot be set up anew" in distort.refused(*words, status=2, inside=copied)


@pytest.mark.sample
def test_audibility_of_a_session(distort, copied) -> None:
    """The margins stand in findings.json and are printed with their limits, over the room or in silence."""
    distort.done("analyze", copied)
    out = distort.done("show", copied, "audibility", "--condition", "stand")
    assert "An estimate, as if the room were silent: an average listener" in out
    assert "The two models agree in" in out
    assert "Rules of thumb (common practice, no source)" in out
    assert "over the noise in the pauses of the recording" in distort.done(
        "show", copied, "audibility", "--condition", "stand", "--background", "room"
    )
    (found,) = json.loads(distort.done("show", copied, "audibility", "--condition", "stand", "--json"))
    kinds = {(one["quantity"], one["background"]) for one in found["audibility"] if one["level_db_spl"] == 96.0}
    assert kinds == {(f"h{n}", place) for n in range(2, ORDERS + 1) for place in ("room", "silence")} | {
        ("multitone", "room"),
        ("multitone", "silence"),
    }
    in_room, in_silence = (
        {
            (one["quantity"], octave["frequency_hz"]): octave["excitation_db"]
            for one in found["audibility"]
            if one["background"] == place
            for octave in one["octaves"]
        }
        for place in ("room", "silence")
    )
    shared = in_room.keys() & in_silence.keys()
    assert len(shared) > 10
    assert all(in_room[key] <= in_silence[key] for key in shared)
    assert "--background goes with audibility" in distort.refused(
        "show", copied, "response", "--background", "room", status=2, inside=copied
    )


def test_words_about_uncertainty(session) -> None:
    """Takes, set-ups and calibration are named as far as they are in the intervals."""
    from distort.assembly.comparison.comparing import compare_sides

    folder = SessionFolder(session)
    a, b = (read_side(folder, name, name=name, progress=quietly) for name in ("stand", "copy"))
    compared = compare_sides(a, replace(b, set_ups=2), calibration_db=0.2)
    words = uncertainty_sentence(compared)
    assert "scatter of set-ups (A 1, B 2), in the response also 0.2 dB of calibration." in words
    several = replace(compared, a=replace(a, takes=3), b=replace(b, set_ups=1), calibration_db=None)
    assert "scatter of takes (A 3, B 1; Student's t) alone: what setting" in uncertainty_sentence(several)
