"""One loudspeaker in two sessions of other levels: what both have is compared, and nothing is found."""

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from distort.__main__ import main
from tests.blank_figures import unmade_figures
from tests.clumsy_session import CommandLine, shorten, table
from tests.devices import quick_monitor

pytestmark = pytest.mark.sample

LEVELS = {"five": "81:101:5", "three": "76,86,96"}
THIRD = -2.0
FULL_SCALE_DB_SPL = 112.0


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture(scope="module", autouse=True)
def compressing() -> Iterator[None]:
    """A loudspeaker whose compression is known: `x + 0.05 x^2 - 2 x^3`."""
    with pytest.MonkeyPatch.context() as patch, quick_monitor.quickly_simulated(), unmade_figures():
        patch.setattr(quick_monitor, "THIRD", THIRD)
        yield


def gain_db(level_db_spl: float) -> float:
    """Of a sine of amplitude A through that curve: `1 + 3/4 c A^2`, closed form."""
    return float(20.0 * np.log10(1.0 + 0.75 * THIRD * 10.0 ** ((level_db_spl - FULL_SCALE_DB_SPL) / 10.0)))


@pytest.fixture(scope="module")
def sessions(tmp_path_factory) -> dict[str, Path]:
    """Each with a calibration, drives and noise of its own, on the loudspeaker of one name."""
    work = tmp_path_factory.mktemp("levels")
    for name, levels in LEVELS.items():
        assert main(["new", str(work / name), "--levels", levels, "--name", "Monitor A"]) == 0
        shorten(work / name, seconds="1.6", orders="5", phases='"low-crest"')
        assert main(["measure", str(work / name), "--simulate"]) == 0
    return {name: work / name for name in LEVELS}


@pytest.mark.study
@pytest.mark.study
def test_sessions_of_other_levels_show_no_difference(distort, sessions) -> None:
    """The truth is that nothing differs. Each against its own lowest level, they would differ at 96 dB by what the
    loudspeaker loses from 76 to 81 dB, 0.007 dB: the median of the bands lies within a tenth of that. Of 27 bands with
    95 % intervals, fewer than 80 % hold the truth with a chance under 1 % (binomial)."""
    said = " ".join(distort.done("compare", sessions["five"], sessions["three"]).split())
    assert "at equal drive" in said
    assert "restated against 86 dB of five:default, the lowest level that both have." in said
    assert "changed by" not in said
    stem = sessions["five"] / "results/compare/five-default__three-default"
    found = json.loads(stem.with_suffix(".json").read_text(encoding="utf-8"))
    compared = {(one["quantity"], one["level"]) for one in found["quantities"]}
    assert {level for quantity, level in compared if quantity == "response"} == {86.0, 96.0}
    assert {one for one in compared if "change" in one[0]} == {("change", 96.0), ("change-multitone", 96.0)}
    assert not any(one["changed"] for one in found["quantities"])
    columns = table(stem.with_suffix(".csv"))
    difference_db, uncertainty_db = (columns[f"change_96db_third{part}"] for part in ("", "_uncertainty"))
    read = np.isfinite(difference_db)
    assert read.sum() > 20
    assert np.mean(np.abs(difference_db[read]) <= uncertainty_db[read]) > 0.8
    assert abs(np.median(difference_db[read])) < 0.1 * (gain_db(76.0) - gain_db(81.0))
