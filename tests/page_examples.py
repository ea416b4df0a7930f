"""A whole session as an analysis leaves it on disk, for figures and the report page; nothing was recorded."""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from distort.analysis.findings.finding import PlaceFound
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Loudspeaker, Setup
from distort.session.plan.template import plan_text, write_plan
from distort.session.results.comparison_files import KEYS, with_files
from distort.session.results.condition_results import ConditionResults, write_results
from tests.ladder_examples import ladder, multitone_bands, multitone_found
from tests.test_fault_changes import DIP, RISE, ROW
from tests.test_report_session import results

HOSTILE = (
    "A <b>bold</b> & \"quoted\" 'name' </script><script>window.broken = 1</script> --> $x$ "
    "\"><img src=x onerror='window.broken = 2'></style>{{window.broken = 3}}"
)
"""What a user might write that HTML, a script or a formula would take for its own."""


def whole_results(
    condition: str,
    *,
    levels: Sequence[float],
    conditions: Sequence[str],
    name: str = "Monitor A",
    simulated: bool = True,
) -> ConditionResults:
    """A condition with sweeps, multitones and both kinds of compression; the latter from two levels on."""
    plain = results(condition, simulated=simulated, levels=tuple(levels))
    ladders = [ladder(levels, source=source) for source in ("sweep", "multitone")] if len(levels) > 1 else []
    findings = replace(
        plain.findings,
        loudspeaker=Loudspeaker(name=name),
        setup=Setup(conditions=tuple(conditions)),
        multitones=tuple(multitone_found(level) for level in levels),
        compression=tuple(found for found, _ in ladders),
        no_compression=None if ladders else "There is one level alone, so nothing is known of compression.",
    )
    return replace(
        plain,
        findings=findings,
        multitones=tuple(multitone_bands(level) for level in levels),
        changes=tuple(curves for _, curves in ladders),
    )


def write_session(
    root: Path,
    *,
    levels: Sequence[float] = (86.0, 96.0),
    conditions: Sequence[str] = ("stand", "desk"),
    name: str = "Monitor A",
    simulated: bool = True,
) -> SessionFolder:
    """A session folder with a plan and results."""
    write_plan(root, plan_text(name="Monitor A", levels_db_spl=tuple(levels), conditions=tuple(conditions)))
    folder = SessionFolder(root)
    for condition in conditions:
        each = whole_results(condition, levels=levels, conditions=conditions, name=name, simulated=simulated)
        write_results(folder, each)
    return folder


def with_findings(results: ConditionResults) -> ConditionResults:
    """A dip with the reflection that makes it, distortion of the loudspeaker's own beside it, and a limiter."""
    own = replace(
        RISE,
        number=2,
        explanation="loudspeaker-generated",
        headline="600 Hz: the loudspeaker itself makes 15 dB more second harmonic",
        places=(PlaceFound(frequency_hz=600.0, low_hz=500.0, high_hz=700.0),),
        part_of_loudspeaker=True,
        evidence=(replace(ROW, quantity="h2", frequency_hz=600.0, rise_db=15.0),),
        sentence="At 600 Hz the loudspeaker itself produces 15.0 +- 2.0 dB more of the second harmonic.",
    )
    limiter = replace(
        own,
        number=3,
        explanation="limiting",
        headline="60 Hz to 1.5 kHz: a limiter, up to 2.0 dB",
        places=(PlaceFound(frequency_hz=300.0, low_hz=60.0, high_hz=1500.0),),
        evidence=(replace(ROW, quantity="compression_sweep", frequency_hz=300.0, rise_db=-2.0),),
        sentence="From 60 Hz to 1.5 kHz the output falls short of linear by up to 2.0 dB.",
    )
    return replace(results, findings=replace(results.findings, anomalies=(DIP,), findings=(RISE, own, limiter)))


PICTURE = b"\x89PNG picture"
COMPARED_TABLE = b"frequency_hz,h3_96db\n1000.0,1.5\n"


def write_compared(folder: SessionFolder, name: str, *, named: bool = True, **words: Any) -> Path:
    """A comparison as `distort compare` leaves it, with a table and one picture; its document, which names both.

    named   False: it names neither, as documents of earlier versions do
    """
    stem = folder.root / "results/compare" / name
    stem.parent.mkdir(exist_ok=True)
    files = (stem.with_name(f"{name}.csv"), stem.with_name(f"{name}_h3_96dB.png"))
    for path, content in zip(files, (COMPARED_TABLE, PICTURE), strict=True):
        path.write_bytes(content)
    said: dict[str, Any] = dict.fromkeys(KEYS)
    said |= {"format": 1, "words": words, "quantities": [{"quantity": "h3", "level": 96.0}]}
    document = stem.with_name(f"{name}.json")
    document.write_text(json.dumps(with_files(said, files) if named else said), encoding="utf-8")
    return document
