"""Drives found once are kept, and refused when what they rest on has changed."""

import json
from collections.abc import Iterator

import pytest

from distort.__main__ import main
from tests.devices.quick_monitor import quickly_simulated


@pytest.fixture(scope="module", autouse=True)
def quick() -> Iterator[None]:
    with quickly_simulated():
        yield


@pytest.fixture(scope="module")
def quiet_session(tmp_path_factory):
    """A simulated session whose drives are found and whose shortest recording is made."""
    root = tmp_path_factory.mktemp("drives") / "monitor"
    assert main(["new", str(root), "--levels", "76,86"]) == 0
    plan = root / "session.toml"
    plan.write_text(plan.read_text(encoding="utf-8").replace("seconds = 10 ", "seconds = 4 "), encoding="utf-8")
    assert main(["measure", str(root), "--simulate", "--only", "sweep-short_76dB"]) == 0
    return root


def measure_again(root, capsys):
    capsys.readouterr()
    status = main(["measure", str(root), "--simulate", "--only", "sweep-short_76dB"])
    return status, capsys.readouterr().err


def test_unchanged_drives_are_used_again(quiet_session, capsys) -> None:
    before = (quiet_session / "calibration/drive.json").read_bytes()
    assert measure_again(quiet_session, capsys) == (0, "")
    assert (quiet_session / "calibration/drive.json").read_bytes() == before


@pytest.mark.parametrize(("shift_db", "status"), [(0.9, 0), (20.0, 1), (-1.1, 1)])
def test_another_calibration_does_not_play_the_old_drives(quiet_session, capsys, shift_db, status) -> None:
    """A calibrator of 114 dB taken for 94 shifts full scale by 20 dB, and every drive with it."""
    path = quiet_session / "calibration/microphone.json"
    before = path.read_text(encoding="utf-8")
    held = json.loads(before)
    held["calibrator_dbfs"] -= shift_db
    held["spl_of_full_scale"] += shift_db
    path.write_text(json.dumps(held), encoding="utf-8")
    try:
        ended, said = measure_again(quiet_session, capsys)
    finally:
        path.write_text(before, encoding="utf-8")
    assert ended == status
    assert ("--relevel finds them anew" in said) == (status == 1)


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [("distance_m", "2.0", "was at 1 m, now at 2 m"), ("band_hz", "[500, 2000]", "band_hz was")],
)
def test_another_distance_or_band_does_not_play_the_old_drives(quiet_session, capsys, key, value, said) -> None:
    plan = quiet_session / "session.toml"
    before = plan.read_text(encoding="utf-8")
    lines = [f"{key} = {value}" if line.startswith(f"{key} = ") else line for line in before.splitlines()]
    plan.write_text("\n".join(lines), encoding="utf-8")
    try:
        ended, sentence = measure_again(quiet_session, capsys)
    finally:
        plan.write_text(before, encoding="utf-8")
    assert ended == 1
    assert said in sentence
