"""A session like the demo's, as an analysis leaves it: three conditions, five levels, findings of every owner.

Names, headlines and marks are as long and as many as the demo's, so that its page takes as much room.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from distort.analysis.common.curves import Harmonics
from distort.analysis.common.operating_limit import Limits
from distort.analysis.findings.finding import Finding, PlaceFound
from distort.analysis.level_limits import LevelLimit, Passed
from distort.session.files.folder import SessionFolder
from distort.session.plan.template import plan_text, write_plan
from distort.session.results.condition_results import write_results
from tests.page_examples import whole_results
from tests.test_fault_changes import RISE, ROW

NAME = "Two-way nearfield monitor (invented)"
LEVELS = (81.0, 86.0, 91.0, 96.0, 101.0)
PLAYED = {"stand": LEVELS, "desk": LEVELS, "loose": (81.0, 96.0)}


def _found(explanation: str, headline: str, *places: tuple[float, float, float], own: bool | None) -> Finding:
    quantity = "compression_sweep" if explanation == "limiting" else "h3"
    return replace(
        RISE,
        explanation=explanation,  # type: ignore[arg-type]
        headline=headline,
        places=tuple(PlaceFound(frequency_hz=at, low_hz=low, high_hz=high) for at, low, high in places),
        part_of_loudspeaker=own,
        numbers={"level_db_spl": 96.0},
        evidence=(replace(ROW, quantity=quantity, frequency_hz=places[0][0]),),
    )


LIMITER = _found(
    "limiting", "34.5 Hz to 1.78 kHz: a limiter, up to 2.1 dB at 101 dB SPL", (450.0, 34.5, 1780.0), own=True
)
RATTLE = _found("rattle", "60 to 84 Hz: something rattles at 96 dB SPL", (71.0, 60.0, 84.0), own=True)
SOURCE = _found(
    "loudspeaker-generated",
    "410 Hz: the loudspeaker itself makes 10 dB more third harmonic than nearby",
    (410.0, 380.0, 440.0),
    own=True,
)
TREBLE = _found(
    "limiting", "4.73 kHz to 17.8 kHz: up to 1.2 dB of compression at 101 dB SPL", (9000.0, 4730.0, 17800.0), own=True
)
PLACE = _found("limiting", "59.6 Hz: 0.6 dB more compression than nearby at 101 dB SPL", (59.6, 55.0, 64.0), own=True)
REFLECTION = _found(
    "delayed-copy",
    "1.2 kHz and 3.6 kHz: a reflection (path 14 cm longer) weakens the fundamental",
    (1200.0, 1000.0, 1400.0),
    (3600.0, 3300.0, 3900.0),
    own=None,
)
PEAK = _found(
    "resonance", "4.62 kHz: a resonance raises the harmonics that come out there", (4620.0, 4400.0, 4900.0), own=None
)

FOUND = {
    "stand": (LIMITER, SOURCE, TREBLE, PLACE, PEAK),
    "desk": (LIMITER, TREBLE, PLACE, REFLECTION),
    "loose": (RATTLE, SOURCE, PLACE),
}


def three_conditions(root: Path) -> SessionFolder:
    """Write the plan and the results of it into `root`."""
    text = plan_text(name=NAME, levels_db_spl=LEVELS, conditions=tuple(PLAYED))
    given = {
        'title = ""': 'title = "Nearfield monitor on a stand and on the studio desk"',
        'credit = ""': 'credit = "A community radio station (invented)"',
        'unit = ""': 'unit = "left one of a pair, invented"',
    }
    for empty, words in given.items():
        assert empty in text
        text = text.replace(empty, words)
    write_plan(root, f'{text}\n[conditions.loose]\nchanged = "the trim ring around the woofer loose"\n')
    folder = SessionFolder(root)
    for condition, levels in PLAYED.items():
        plain = whole_results(condition, levels=levels, conditions=tuple(PLAYED), name=NAME)
        findings = replace(
            plain.findings,
            loudspeaker=replace(plain.findings.loudspeaker, unit="left one of a pair, invented"),
            setup=replace(plain.findings.setup, radiation="room"),
            findings=tuple(replace(one, number=place) for place, one in enumerate(FOUND[condition], 1)),
            level_limits=_limits(levels),
        )
        curves = tuple(
            _raised(one) if (condition, level) == ("desk", 96.0) else one
            for level, one in zip(levels, plain.harmonics, strict=True)
        )
        write_results(folder, replace(plain, findings=findings, harmonics=curves))
    return folder


def _raised(plain: Harmonics) -> Harmonics:
    """By 40 dB at 1.2 kHz, where REFLECTION is: the table of levels names it as the cause of the worst THD."""
    lift_db = 40.0 * np.exp(-0.5 * (np.log2(plain.frequency_hz / 1200.0) * 10.0) ** 2)
    share = plain.thd_percent / 100.0 * 10.0 ** (lift_db / 20.0)
    return replace(
        plain,
        thd_db=plain.thd_db + lift_db,
        thd_percent=100.0 * share,
        thd_total_percent=100.0 * share / np.sqrt(1.0 + share**2),
        orders=tuple(replace(one, relative_db=one.relative_db + lift_db) for one in plain.orders),
    )


def _limits(levels: Sequence[float]) -> tuple[LevelLimit, ...]:
    """As two sentences under the levels of a condition say them; none where two levels alone were played."""
    if len(levels) < 3:
        return ()
    passed = (Passed(limit="broad-change", value=2.1, frequency_hz=450.0),)
    tones = LevelLimit(
        stimulus="multitone",
        up_to_db_spl=96.0,
        ended_at_db_spl=101.0,
        passed=passed,
        judged=28,
        bands=30,
        limits=Limits(),
    )
    music = replace(tones, stimulus="programme", ended_at_db_spl=None, passed=())
    return tones, music
