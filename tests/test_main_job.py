"""The main job from an empty folder to the figures, on the simulated loudspeaker, through the command line."""

import json
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from distort.__main__ import main
from tests.clumsy_session import CommandLine, contents, shorten, table

RESPONSE_COLUMNS = ["frequency_hz", "level_db_spl", "phase_deg", "noise_db_spl"]
HARMONICS_COLUMNS = [
    "frequency_hz",
    "fundamental_db_spl",
    "thd_db",
    "thd_percent",
    "thd_total_percent",
    "thd_orders",
    "residual_db",
]
ORDER_COLUMNS = ["db", "noise_db", "leak_db", "chain_db", "bias_db", "uncertainty_db", "db_spl", "equivalent_input_db"]


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture(scope="module")
def measured(tmp_path_factory) -> Path:
    """A session measured at one level with a short sweep, analysed and drawn."""
    session = tmp_path_factory.mktemp("work") / "monitor"
    assert main(["new", str(session), "--levels", "86", "--name", "Monitor A"]) == 0
    shorten(session)
    for words in (["measure", "--simulate"], ["analyze"], ["report"]):
        assert main([words[0], str(session), *words[1:]]) == 0
    return session


FIGURES = (
    "response_default",
    "thd_default",
    "quality_default",
    "findings_default",
    "harmonics_default_86dB",
    "harmonics-absolute_default_86dB",
    "harmonics-input_default_86dB",
)


def test_what_is_in_the_session_afterwards(measured) -> None:
    files = {name for name, content in contents(measured).items() if content != b"a folder"}
    files = {name for name in files if "multitone" not in name}
    assert files == {
        "session.toml",
        "stimuli/sweep_86dB.wav",
        "stimuli/sweep_86dB.json",
        "calibration/calibrator_94dB.flac",
        "calibration/microphone.json",
        "calibration/drive.json",
        "calibration/sounded.json",
        "recordings/default/sweep_86dB.flac",
        "recordings/default/sweep_86dB.json",
        "results/default/response_86dB.csv",
        "results/default/harmonics_86dB.csv",
        "results/default/impulsive.csv",
        "results/default/noise.csv",
        "results/default/findings.json",
        "results/report.html",
        "results/report.json",
        "results/figures/drawn.json",
        *(f"results/figures/{stem}.{kind}" for stem in FIGURES for kind in ("png", "svg")),
        "results/analysed.json",
    }


def test_the_tables_have_the_columns_and_rows_that_scripts_rely_on(measured) -> None:
    """Rows: f = 1000 x 10^(x/80) Hz, x from -136 to 104: 1/24 octave, base ten (IEC 61260-1)."""
    response = table(measured / "results/default/response_86dB.csv")
    harmonics = table(measured / "results/default/harmonics_86dB.csv")
    assert list(response) == RESPONSE_COLUMNS
    orders = [f"h{order}_{column}" for order in range(2, 11) for column in ORDER_COLUMNS]
    of_noise = [f"h{order}_noise_uncertainty_db" for order in range(2, 11)]
    assert list(harmonics) == HARMONICS_COLUMNS + orders + of_noise
    rows_hz = 1000.0 * 10.0 ** (np.arange(-136, 105) / 80.0)
    # files hold four decimals
    np.testing.assert_allclose(response["frequency_hz"], rows_hz, rtol=0, atol=5.1e-5)
    np.testing.assert_allclose(harmonics["frequency_hz"], rows_hz, rtol=0, atol=5.1e-5)


def test_the_numbers_hang_together(measured) -> None:
    """Definitions: THD is the power sum of the orders, a level is the ratio times the fundamental (IEC 60268-21)."""
    response = table(measured / "results/default/response_86dB.csv")
    harmonics = table(measured / "results/default/harmonics_86dB.csv")
    four_decimals = 2.1e-4  # each of the numbers compared is rounded to 1e-4 dB
    np.testing.assert_allclose(harmonics["fundamental_db_spl"], response["level_db_spl"], rtol=0, atol=four_decimals)
    ratios = np.stack([harmonics[f"h{order}_db"] for order in range(2, 11)])
    there = np.isfinite(ratios)
    assert np.array_equal(np.sum(there, axis=0), harmonics["thd_orders"])
    some = there.any(axis=0)
    total = 10.0 * np.log10(np.sum(np.where(there, 10.0 ** (ratios / 10.0), 0.0), axis=0)[some])
    np.testing.assert_allclose(harmonics["thd_db"][some], total, rtol=0, atol=four_decimals)
    second_db = harmonics["h2_db"] + harmonics["fundamental_db_spl"]
    np.testing.assert_allclose(harmonics["h2_db_spl"], second_db, rtol=0, atol=four_decimals)
    # order n of an excitation above 22 kHz / n lies beyond the stimulus
    beyond = harmonics["frequency_hz"] > 22000.0 / 10.0
    assert np.isnan(harmonics["h10_db"][beyond]).all()


def test_the_findings_say_what_was_measured_and_that_it_was_simulated(measured) -> None:
    findings = json.loads((measured / "results/default/findings.json").read_text(encoding="utf-8"))
    assert findings["format"] == 1
    assert findings["loudspeaker"]["name"] == "Monitor A"
    assert findings["condition"] == "default"
    assert findings["simulated"] is True
    assert findings["software"].startswith("distort ")
    (recording,) = [one for one in findings["recordings"] if "/sweep_" in one["file"]]
    assert recording["file"] == "recordings/default/sweep_86dB.flac"
    assert recording["quality"]["verdict"] == "good"
    assert recording["rejected"] is None
    (level,) = findings["levels"]
    assert level["level_db_spl"] == 86.0
    assert level["unit"] == "db_spl"
    # the drive was found in a quiet run, and at 86 dB this loudspeaker does not compress by half a dB
    assert abs(level["measured_db"] - 86.0) < 0.5


@pytest.mark.parametrize("suffix", ["png", "svg"])
@pytest.mark.parametrize("stem", ["response_default", "harmonics_default_86dB"])
def test_the_figures_are_figures(measured, stem, suffix) -> None:
    content = (measured / f"results/figures/{stem}.{suffix}").read_bytes()
    assert content.startswith(b"\x89PNG\r\n\x1a\n" if suffix == "png" else b"<?xml")
    if suffix == "svg":
        assert b"imulated" in content


def test_a_second_measure_records_nothing(measured, distort) -> None:
    before = contents(measured)
    assert "everything the plan asks for is recorded already" in distort.done("measure", measured, "--simulate")
    assert contents(measured) == before


@pytest.mark.parametrize("what", ["response", "harmonics"])
def test_show_in_a_pipe_is_plain_and_80_columns_wide(measured, distort, what) -> None:
    out = distort.done("show", measured, what)
    assert "\x1b" not in out
    lines = out.splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[:2] == ["Monitor A, condition default", "Simulated loudspeaker, not a measurement."]
    assert any(line.startswith("Hz ") and line.split()[1:3] == ["31.5", "63"] for line in lines)
    assert "86 dB" in out


def test_show_prints_what_the_table_holds(measured, distort) -> None:
    harmonics = table(measured / "results/default/harmonics_86dB.csv")
    at_1k = int(np.argmin(np.abs(harmonics["frequency_hz"] - 1000.0)))
    row = next(line for line in distort.done("show", measured, "harmonics").splitlines() if line.startswith("H2 dB"))
    # label of six columns, then cells of six: 1 kHz is the sixth octave; whole decibels, so that columns stay apart
    assert float(row[6 + 5 * 6 : 6 + 6 * 6].strip(" ?")) == pytest.approx(harmonics["h2_db"][at_1k], abs=0.51)


def test_json_is_json_and_nothing_else(measured, distort) -> None:
    findings = json.loads(distort.done("analyze", measured, "--json"))
    assert [one["condition"] for one in findings] == ["default"]
    assert findings[0]["levels"][0]["level_db_spl"] == 86.0


@pytest.mark.first(1)
@pytest.mark.parametrize("quiet", [False, True])
def test_on_a_terminal_of_80_columns_no_line_is_wider_and_no_color_is_respected(measured, quiet) -> None:
    """SGR 30 to 37 and 90 to 97 choose a colour (ECMA-48 and its usual extension); NO_COLOR forbids these alone."""
    environment = {name: value for name, value in os.environ.items() if name != "NO_COLOR"}
    environment |= {"TERM": "xterm-256color", "COLUMNS": "80"} | ({"NO_COLOR": "1"} if quiet else {})
    for words in (["show", str(measured), "harmonics"], ["analyze", str(measured)]):
        reader, writer = pty.openpty()
        program = subprocess.Popen(
            [sys.executable, "-m", "distort", *words], stdout=writer, stderr=subprocess.PIPE, env=environment
        )
        os.close(writer)
        text = _all_of(reader)
        assert program.wait(timeout=60) == 0
        assert program.stderr is not None
        assert program.stderr.read() == b""
        program.stderr.close()
        coloured = not quiet and words[0] == "show"  # the overview of this session has no mark to colour
        assert bool(re.search(r"\x1b\[(?:\d+;)*(?:3[0-7]|9[0-7])", text)) is coloured
        plain = re.sub(r"\x1b\[[0-9;]*m", "", text)
        assert "\x1b" not in plain
        assert max(map(len, plain.splitlines())) <= 80


def _all_of(reader: int) -> str:
    """All that a terminal's other end writes until it closes, which Linux reports as an input/output error."""
    pieces = []
    try:
        while piece := os.read(reader, 65536):
            pieces.append(piece)
    except OSError:
        pass
    finally:
        os.close(reader)
    return b"".join(pieces).decode("utf-8")


def test_a_recording_without_its_sidecar_is_refused(measured, distort) -> None:
    sidecar = measured / "recordings/default/sweep_86dB.json"
    kept = sidecar.read_bytes()
    sidecar.unlink()
    said = distort.refused("analyze", measured, inside=measured)
    sidecar.write_bytes(kept)
    assert "sweep_86dB.flac has no sidecar sweep_86dB.json" in said
    assert "distort add" in said


def test_a_recording_that_was_changed_is_refused(measured, distort) -> None:
    recording = measured / "recordings/default/sweep_86dB.flac"
    kept = recording.read_bytes()
    recording.write_bytes(kept + b"\0")
    said = distort.refused("analyze", measured, inside=measured)
    recording.write_bytes(kept)
    assert "is not the file that sweep_86dB.json was written for" in said


@pytest.mark.study
def test_another_take_is_recorded_and_the_analysis_averages(measured, distort) -> None:
    """Noise of two takes is independent: their coherent mean holds half its power, 10 lg 2 = 3.01 dB less."""
    results = measured / "results/default"
    one = table(results / "harmonics_86dB.csv")
    first = (measured / "recordings/default/sweep_86dB.flac").read_bytes()
    out = distort.done("measure", measured, "--simulate", "--only", "sweep_86dB", "--again")
    assert "default/sweep_86dB_take2: good" in out.splitlines()
    assert (measured / "recordings/default/sweep_86dB.flac").read_bytes() == first
    assert (measured / "recordings/default/sweep_86dB_take2.flac").read_bytes() != first
    distort.done("analyze", measured)
    two = table(results / "harmonics_86dB.csv")
    lower_db = np.nanmean(one["h2_noise_db"] - two["h2_noise_db"])
    # a tenth of what is checked; a few seconds of silence tell the noise of the whole band to 0.1 dB
    assert lower_db == pytest.approx(10.0 * np.log10(2.0), abs=0.3)
    findings = json.loads((results / "findings.json").read_text(encoding="utf-8"))
    used = [one for one in findings["recordings"] if "/sweep_" in one["file"]]
    assert [one["file"] for one in used] == [
        "recordings/default/sweep_86dB.flac",
        "recordings/default/sweep_86dB_take2.flac",
    ]
    assert len({one["sha256"] for one in used}) == 2
    assert len(findings["levels"]) == 1
