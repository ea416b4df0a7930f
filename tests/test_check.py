"""`distort check`, `distort show quality`, and a microphone's response file in a whole session."""

import hashlib
import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from distort.__main__ import main
from tests.clumsy_session import contents, shorten, table
from tests.devices.quick_monitor import quickly_simulated

pytest_plugins = ["tests.clumsy_fixtures"]


@pytest.fixture(scope="module", autouse=True)
def quick() -> Iterator[None]:
    with quickly_simulated():
        yield


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    """A session of which everything is recorded: 86 and 96 dB, sweep and multitone, reference again."""
    session = tmp_path_factory.mktemp("whole") / "monitor"
    assert main(["new", str(session), "--levels", "86,96"]) == 0
    shorten(session, repeat_reference="true", orders="4", seconds="1.6")
    assert main(["measure", str(session), "--simulate"]) == 0
    return session


@pytest.fixture(scope="module")
def bare(whole, tmp_path_factory) -> Path:
    """It, analysed; no test may change it."""
    session = Path(shutil.copytree(whole, tmp_path_factory.mktemp("bare") / "monitor"))
    assert main(["analyze", str(session)]) == 0
    return session


@pytest.fixture
def monitor(whole, tmp_path) -> Path:
    return Path(shutil.copytree(whole, tmp_path / "monitor"))


def recordings(session: Path) -> list[str]:
    return sorted(path.stem for path in (session / "recordings/default").glob("*.flac"))


def take_away(session: Path, stem: str) -> None:
    for suffix in (".flac", ".json"):
        (session / "recordings/default" / (stem + suffix)).unlink()


@pytest.mark.sample
def test_a_whole_session_may_be_packed_up(distort, monitor) -> None:
    before = contents(monitor)
    ending = distort("check", monitor)
    assert (ending.status, ending.err) == (0, "")
    assert f"You may pack up: all {len(recordings(monitor))} recordings of the plan are there" in ending.out
    assert "--post-check" in ending.out
    assert contents(monitor) == before


def test_what_is_missing_is_named_with_the_command_that_records_it(distort, monitor) -> None:
    take_away(monitor, "sweep_96dB")
    take_away(monitor, "sweep_86dB_take2_after")
    ending = distort("check", monitor)
    assert (ending.status, ending.err) == (1, "")
    assert "Missing in default: sweep_96dB, sweep_86dB_take2_after. " in ending.out
    assert f"To record them: distort measure {monitor} --simulate --condition default; or" in ending.out
    assert ending.out.endswith("Not finished: 2 missing.\n")
    distort.done("measure", monitor, "--simulate", "--condition", "default")
    assert distort("check", monitor).status == 0


@pytest.mark.sample
def test_a_rejected_recording_wants_another_take(distort, monitor) -> None:
    distort.done("reject", monitor, "default/sweep_96dB", "--reason", "a lorry passed")
    ending = distort("check", monitor)
    assert ending.status == 1
    assert "Rejected without a replacement: default/sweep_96dB: a lorry passed. " in ending.out
    assert "--only sweep_96dB --again" in ending.out
    distort.done("measure", monitor, "--simulate", "--condition", "default", "--only", "sweep_96dB", "--again")
    assert distort("check", monitor).status == 0
    distort.done("reject", monitor, "default/sweep_96dB_take2", "--reason", "another lorry")
    ending = distort("check", monitor)
    assert ending.status == 1
    # one of the two must be made up for, not both
    assert "Not finished: 1 rejected without a replacement." in ending.out


def test_a_condition_never_recorded_is_missing_whole(distort, monitor) -> None:
    plan = monitor / "session.toml"
    text = plan.read_text(encoding="utf-8").replace('conditions = ["default"]', 'conditions = ["default", "desk"]')
    plan.write_text(text, encoding="utf-8")
    ending = distort("check", monitor)
    assert ending.status == 1
    assert "Missing in desk: sweep_86dB, multitone_86dB, " in ending.out


def test_a_recording_that_was_taken_away_leaves_its_sidecar_to_tell(distort, monitor) -> None:
    (audio,) = (monitor / "recordings").rglob("sweep_86dB.flac")
    audio.unlink()
    ending = distort("check", monitor)
    assert ending.status == 1
    assert f"{audio.with_suffix('.json')} has no recording beside it" in ending.out
    assert "1 damaged" in ending.out


def test_a_damaged_file_is_found_while_it_can_be_repeated(distort, monitor) -> None:
    path = monitor / "recordings/default/sweep_96dB.flac"
    path.write_bytes(path.read_bytes()[:-1000])
    ending = distort("check", monitor)
    assert ending.status == 1
    assert f"Damaged: {path} is not the file that sweep_96dB.json was written for" in ending.out
    assert "Not finished: 1 damaged." in ending.out


def test_without_a_calibration_nobody_may_pack_up(distort, session, recording) -> None:
    distort.done("add", session, recording, "--stimulus", "sweep", "--level", "86")
    ending = distort("check", session)
    assert ending.status == 1
    assert "Uncalibrated: no calibrator was recorded" in ending.out
    assert "1 uncalibrated" in ending.out


def make_doubtful(session: Path) -> None:
    path = session / "recordings/default/sweep_96dB.json"
    sidecar = json.loads(path.read_text(encoding="utf-8"))
    sidecar["quality"] = {"verdict": "usable", "findings": ["A door slammed at 3.1 s."]}
    path.write_text(json.dumps(sidecar), encoding="utf-8")


def test_a_doubtful_recording_is_told_and_does_not_hold_anyone_back(distort, monitor) -> None:
    make_doubtful(monitor)
    ending = distort("check", monitor)
    assert ending.status == 0
    assert "Doubtful: default/sweep_96dB: A door slammed at 3.1 s. To repeat it: " in ending.out
    sidecars = [json.loads(path.read_text()) for path in (monitor / "recordings/default").glob("*.json")]
    doubtful = sum(one["quality"]["verdict"] != "good" for one in sidecars)
    assert f", {doubtful} of them to be used with caution." in ending.out


def test_show_quality_lists_every_recording(distort, monitor) -> None:
    make_doubtful(monitor)
    distort.done("reject", monitor, "default/multitone_86dB", "--reason", "a lorry passed")
    out = distort.done("show", monitor, "quality")
    lines = out.splitlines()
    assert max(map(len, lines[: lines.index("")])) <= 80  # the table; sentences are not folded in a pipe
    for stem in recordings(monitor):
        assert sum(line.split()[:1] == [stem] for line in lines) == 1
    row = next(line for line in lines if line.startswith("sweep_96dB "))
    assert row.split()[1] == "usable"
    assert "A door slammed at 3.1 s." in row
    rejected = next(line for line in lines if line.startswith("multitone_86dB "))
    assert "Rejected: a lorry passed." in rejected


def test_show_quality_says_what_is_not_there(distort, monitor, made) -> None:
    words = ("show", monitor, "quality", "--condition", "none")
    assert "no recordings of condition 'none'" in distort.refused(*words, status=2, inside=monitor)
    assert "has no recordings yet" in distort.refused("show", made, "quality", inside=made)


def test_machines_read_what_people_read(distort, monitor) -> None:
    make_doubtful(monitor)
    distort.done("reject", monitor, "default/multitone_86dB", "--reason", "a lorry passed")
    shown = json.loads(distort.done("show", monitor, "quality", "--json"))
    rejected = next(one for one in shown if one["recording"].startswith("multitone_86dB."))
    assert rejected["rejected"] == "a lorry passed"
    doubted = next(one for one in shown if "A door slammed at 3.1 s." in one["quality"]["findings"])
    ending = distort("check", monitor, "--json")
    found = json.loads(ending.out)
    assert ending.status == (0 if found["complete"] else 1)
    assert doubted["recording"] in found["doubtful"]


RESPONSE = "Hz;dB\n40;-2,0\n1000;0,5\n4000;3,5\n9000;5,0\n"


def with_microphone(session: Path, text: str = RESPONSE, *, response_is: str = "response") -> Path:
    path = session / "calibration/microphone.txt"
    path.write_text(text, encoding="utf-8")
    plan = session / "session.toml"
    named = f'[microphone]\nresponse_file = "calibration/microphone.txt"\nresponse_is = "{response_is}"'
    plan.write_text(plan.read_text(encoding="utf-8").replace("[microphone]", named), encoding="utf-8")
    return path


@pytest.mark.first(1)
@pytest.mark.parametrize(("response_is", "sign"), [("response", 1.0), ("correction", -1.0)])
def test_a_response_file_changes_the_tables_by_what_it_says(distort, bare, tmp_path, response_is, sign) -> None:
    """By hand, over log f between its points and 0 dB at the calibrator's 1 kHz: 2 kHz is halfway to 4 kHz."""
    monitor = Path(shutil.copytree(bare, tmp_path / "monitor"))
    before = {name: table(monitor / f"results/default/{name}_96dB.csv") for name in ("response", "harmonics")}
    path = with_microphone(monitor, response_is=response_is)
    distort.done("analyze", monitor)
    now = {name: table(monitor / f"results/default/{name}_96dB.csv") for name in ("response", "harmonics")}
    hz = before["response"]["frequency_hz"]
    moved_db = now["response"]["level_db_spl"] - before["response"]["level_db_spl"]
    response_db = np.interp(np.log(hz), np.log([40.0, 1000.0, 4000.0, 9000.0]), [-2.5, 0.0, 3.0, 4.5])
    inside = (hz > 45.0) & (hz < 8500.0)
    # the response bends at its points, over which a twelfth of an octave rounds it by 0.02 dB
    np.testing.assert_allclose(moved_db[inside], -sign * response_db[inside], rtol=0, atol=0.05)
    at_2k = int(np.argmin(np.abs(hz - 2000.0)))
    assert moved_db[at_2k] == pytest.approx(-sign * 1.5, abs=0.02)  # 1995 Hz is 0.006 dB off halfway
    second_db = now["harmonics"]["h2_db"] - before["harmonics"]["h2_db"]
    assert second_db[int(np.argmin(np.abs(hz - 1000.0)))] == pytest.approx(-sign * 1.5, abs=0.05)
    assert np.isnan(now["response"]["level_db_spl"][(hz < 40.0) | (hz > 9000.0)]).all()
    findings = json.loads((monitor / "results/default/findings.json").read_text(encoding="utf-8"))
    assert findings["microphone"]["file"] == "calibration/microphone.txt"
    assert findings["microphone"]["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
    assert findings["microphone"]["zero_hz"] == pytest.approx(1000.0, abs=0.1)  # the calibrator's, as it was read
    out = distort.done("show", monitor, "harmonics")
    assert f"The microphone's {response_is} in calibration/microphone.txt is allowed for, from 40 to 9000 Hz." in out


@pytest.mark.study
def test_a_report_draws_what_a_response_file_leaves(distort, monitor) -> None:
    """Rows outside of it are empty."""
    with_microphone(monitor)
    distort.done("analyze", monitor)
    assert "Drew " in distort.done("report", monitor)


def test_a_bad_response_file_is_refused_with_its_line(distort, monitor) -> None:
    path = with_microphone(monitor, "20 1\n10 2\n")
    said = distort.refused("analyze", monitor, inside=monitor)
    assert said.startswith(f"{path}, line 2: 10 Hz does not lie above 20 Hz")
    path.write_text("2000 0\n20000 1\n", encoding="utf-8")
    said = distort.refused("analyze", monitor, inside=monitor)
    assert "reaches from 2000 to 20000 Hz, but the level is set at 1000 Hz" in said
    path.unlink()
    assert f"{path} is missing: [microphone] response_file" in distort.refused("analyze", monitor, inside=monitor)


def test_the_drive_is_found_for_the_level_in_air(distort, monitor) -> None:
    """A microphone that reads 3 dB too much over the whole band, but not at the calibrator's frequency, is no reason to
    play 3 dB less: 1 kHz alone is notched."""
    flat = json.loads((monitor / "calibration/drive.json").read_text(encoding="utf-8"))["db_spl"]
    (monitor / "calibration/drive.json").unlink()
    shutil.rmtree(monitor / "recordings")
    with_microphone(monitor, "10 3\n990 3\n991 0\n1009 0\n1010 3\n24000 3\n")
    distort.done("measure", monitor, "--simulate", "--only", "sweep_86dB")
    found = json.loads((monitor / "calibration/drive.json").read_text(encoding="utf-8"))["db_spl"]
    # 20 Hz of the band's 2700 are not lifted, 0.03 octaves of 3.3: 0.03 dB
    assert found == pytest.approx(flat - 3.0, abs=0.1)


def test_a_response_that_does_not_reach_the_band_sets_no_level(distort, monitor) -> None:
    (monitor / "calibration/drive.json").unlink()
    shutil.rmtree(monitor / "recordings")
    with_microphone(monitor, "900 0\n1100 0\n")
    plan = monitor / "session.toml"
    text, changed = re.subn(r"^band_hz = \[.*?\]", "band_hz = [2000, 3000]", plan.read_text(), flags=re.MULTILINE)
    assert changed == 1
    plan.write_text(text, encoding="utf-8")
    said = distort.refused("measure", monitor, "--simulate", inside=monitor)
    assert "and that the microphone's response file covers" in said
