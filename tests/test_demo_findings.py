"""The demo's findings against what the simulated loudspeaker is made of: every cause that shows, and nothing else.

Sizes come from its steady state (`capture.simulated.truth`: no sweep, no window, no noise) at the frequencies where its
table of parameters puts each cause; what the analysis says is read from the results alone.
"""

import math
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from distort.analysis.findings.finding import Finding
from distort.capture.simulated.parameters import COPPER_PER_K, Parameters
from distort.capture.simulated.truth import steady_state_harmonics
from distort.pipeline import analyze_session
from distort.session.files.folder import SessionFolder
from distort.session.results.condition_results import read_results

pytestmark = pytest.mark.sample

DEMO = Path(__file__).resolve().parents[1] / "demo_recordings"
MADE = Parameters()

NEAR_OCTAVES = 1.0 / 6.0
"""Twice the smoothing of the curves."""

FLANK_OCTAVES = 0.5

SHOWS_DB = 6.0
"""True rise of an order over its neighbourhood from which it must be found: twice the interval of 3 dB that the rows of
evidence state there."""

SHOWS_CHANGE_DB = 0.5
"""True change with level from which it must be found: what a band must fall short by to be told."""


@dataclass(frozen=True)
class Cause:
    """One thing that the simulated loudspeaker is made of, or stands beside."""

    name: str
    at_hz: float
    words: frozenset[str]
    """That may be said of it."""
    true_db: float
    shows_db: float
    low_hz: float = math.nan
    high_hz: float = math.nan
    """Of a band."""

    @property
    def shows(self) -> bool:
        return abs(self.true_db) >= self.shows_db

    def met_by(self, one: Finding) -> bool:
        """Whether a finding has a place here and one of the words."""
        if not {one.explanation, *one.also} & self.words:
            return False
        if not math.isnan(self.low_hz):
            return any(place.low_hz < self.high_hz and place.high_hz > self.low_hz for place in one.places)
        return any(abs(math.log2(place.frequency_hz / self.at_hz)) <= NEAR_OCTAVES for place in one.places)


def of_order(order: int, at_hz: float, condition: str, *, level_db_spl: float = 96.0) -> float:
    """How far an order, re the fundamental, stands above the mean of both sides, half an octave away, dB."""
    drive_dbfs = level_db_spl - MADE.electronics.full_scale_db_spl
    ratios = [
        steady_state_harmonics(
            at_hz * 2.0**octaves, drive_dbfs, orders=order, condition=condition, with_tail=False
        ).relative_db[order - 1]
        for octaves in (-FLANK_OCTAVES, 0.0, FLANK_OCTAVES)
    ]
    return float(ratios[1] - 0.5 * (ratios[0] + ratios[2]))


def change_db(at_hz: float) -> float:
    """Change of the level from 81 to 101 dB SPL beyond that of the drive, cold."""
    quiet, loud = (
        float(
            steady_state_harmonics(
                at_hz, level - MADE.electronics.full_scale_db_spl, orders=1, with_tail=False
            ).level_db_spl[0]
        )
        for level in (81.0, 101.0)
    )
    return loud - quiet - 20.0


def causes(condition: str) -> list[Cause]:
    """All that stands in the table of parameters and concerns what was measured."""
    edge_hz, break_hz = MADE.cone.edge_hz, MADE.cone.breakup_hz
    short = frozenset({"compression", "limiting", "heating"})
    crossover_hz, tuning_hz = MADE.electronics.crossover_hz, MADE.box.tuning_hz
    source, peak = frozenset({"loudspeaker-generated"}), frozenset({"product-on-peak"})
    found = [
        Cause("surround", edge_hz, source, of_order(3, edge_hz, condition), SHOWS_DB),
        Cause("break-up", break_hz / 4.0, peak, of_order(4, break_hz / 4.0, condition), SHOWS_DB),
        Cause("limiter", 500.0, short, change_db(500.0), SHOWS_CHANGE_DB, 2.0 * tuning_hz, crossover_hz),
        # the port's losses, the force factor and the stiffness, all of them at the tuning of the box
        Cause("travel", 1.15 * tuning_hz, short, change_db(1.15 * tuning_hz), SHOWS_CHANGE_DB, 0.7 * tuning_hz, 75.0),
    ]
    # 10 W: half of what 101 dB SPL take of a dome of 90.3 dB SPL at 2.83 V and 5 ohm, whose coil is warm in seconds
    warm_db = 20.0 * math.log10(1.0 + COPPER_PER_K * MADE.tweeter.coil.coil_k_per_w * 10.0)
    found.append(Cause("dome's coil", 1e4, short, -warm_db, SHOWS_CHANGE_DB, 2.0 * crossover_hz, 2e4))
    if condition == "desk":
        first_hz = 343.2 / (2.0 * MADE.room.desk_path_difference_m)
        deep_db = 20.0 * math.log10(1.0 - MADE.room.desk_amplitude)
        copy = frozenset({"delayed-copy"})
        found.append(Cause("desk", first_hz, copy, deep_db, SHOWS_DB))
    return found


@pytest.fixture(scope="module")
def analysed(tmp_path_factory) -> SessionFolder:
    root = tmp_path_factory.mktemp("demo") / "session"
    shutil.copytree(DEMO, root, ignore=shutil.ignore_patterns("results"))
    analyze_session(root, threads=2, progress=lambda *_: None)
    return SessionFolder(root)


@pytest.mark.parametrize("condition", ["stand", "desk"])
def test_the_demos_findings_are_what_it_is_made_of(analysed, condition: str) -> None:
    findings = read_results(analysed, condition).findings.findings
    assert findings is not None
    decided = [one for one in findings if one.decided]
    made = causes(condition)
    missing = [one.name for one in made if one.shows and not any(one.met_by(each) for each in decided)]
    assert missing == []
    assert [one.headline for one in decided if not any(cause.met_by(one) for cause in made)] == []
    assert [one.headline for one in findings if not one.decided] == []
    local = [one for one in decided if not one.broad]
    for one in local:
        low_hz, high_hz = one.places[0].low_hz, one.places[0].high_hz
        assert not any(low_hz < other.frequency_hz < high_hz for other in local if other is not one)


def test_the_surround_shows_on_the_stand_and_is_covered_on_the_desk() -> None:
    """Its third order comes out at 1.2 kHz, in the first dip of the desk's reflection."""
    assert of_order(3, MADE.cone.edge_hz, "stand") > SHOWS_DB
    assert of_order(3, MADE.cone.edge_hz, "desk") < SHOWS_DB


def test_what_would_confirm_can_be_typed(analysed) -> None:
    """Conditions are those of the plan, or said to be added; nothing is played but by the simulated loudspeaker."""
    for condition in ("stand", "desk"):
        for one in read_results(analysed, condition).findings.findings or ():
            command = one.next.command or ""
            named = [word.partition(":")[2] for word in command.split() if word.startswith("FOLDER:")]
            assert named
            for name in named:
                assert name in ("stand", "desk") or f'add "{name}" to conditions' in one.next.text
            assert command.startswith("distort compare ") or command.endswith(" --simulate")
