"""Results for machines: one JSON document a command, with nothing in it that the tables for people do not say."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
import numpy.typing as npt
from rich.console import Console

from distort.capture.measuring.completeness import Completeness
from distort.capture.measuring.exposure import DayExposure
from distort.report.text.overview import overview
from distort.report.text.verification import Check
from distort.session.files.csv_table import read_table
from distort.session.files.folder import SessionFolder
from distort.session.files.json_fields import as_document
from distort.session.recordings.stored import Recording
from distort.session.results.condition_results import ConditionResults, Findings
from distort.session.results.kinds import STORED


def print_document(console: Console, document: object) -> None:
    """Indented JSON, letters as they are."""
    console.out(json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False))


def findings_documents(findings: Sequence[Findings], names: Sequence[str] = ()) -> list[dict[str, Any]]:
    """The findings of every condition; with `names` those fields alone, each beside its condition."""
    documents = [as_document(one) for one in findings]
    if not names:
        return documents
    return [{name: document[name] for name in ("condition", *names)} for document in documents]


def overview_documents(found: Sequence[ConditionResults]) -> list[dict[str, Any]]:
    """The levels of every condition as the overview has them, null for what is not known."""
    return [
        {
            "condition": results.findings.condition,
            "simulated": results.findings.simulated,
            "levels": [asdict(one) for one in overview(results)],
            "level_limits": [asdict(one) for one in results.findings.level_limits],
        }
        for results in found
    ]


def table_documents(
    folder: SessionFolder, results: ConditionResults, kind: str, *, level_db_spl: float | None
) -> list[dict[str, Any]]:
    """The tables "response" or "harmonics" of a condition, all levels or one: columns of numbers, null for no value."""
    condition = results.findings.condition
    return [
        {
            "condition": condition,
            "level_db_spl": level,
            "simulated": results.findings.simulated,
            "columns": {
                name: [None if math.isnan(value) else value for value in values.tolist()]
                for name, values in read_table(folder.level_result_path(condition, kind, level)).items()
            },
        }
        for level in results.levels_db_spl
        if level_db_spl in (None, level)
    ]


def further_documents(found: Sequence[ConditionResults], kind: str) -> list[dict[str, Any]]:
    """The table of another kind of stimulus, of every condition: columns of numbers and texts, null for no value."""
    return [
        {
            "condition": results.findings.condition,
            "simulated": results.findings.simulated,
            "columns": {
                name: [None if isinstance(cell, float) and math.isnan(cell) else cell for cell in _cells(values)]
                for name, values in STORED[kind].columns(results.further[kind]).items()
            },
        }
        for results in found
    ]


def _cells(values: npt.ArrayLike) -> list[Any]:
    cells: list[Any] = np.asarray(values).tolist()
    return cells


def quality_documents(recordings: Mapping[str, Sequence[Recording]]) -> list[dict[str, Any]]:
    """What the check of every recording found, by condition."""
    return [
        {
            "condition": condition,
            "recording": one.files.audio_path.name,
            "simulated": one.sidecar.simulated,
            "rejected": one.sidecar.rejected,
            "quality": asdict(one.sidecar.quality),
        }
        for condition, found in recordings.items()
        for one in found
    ]


def completeness_document(found: Completeness, day: DayExposure | None) -> dict[str, Any]:
    """What stands between a session and packing up, and how much of the day's exposure is used."""
    return {
        "complete": found.complete,
        "recorded": found.recorded,
        "simulated": found.simulated,
        "wanted": [
            {"condition": one.condition, "recording": one.name.stem, "why": one.why, "reason": one.reason}
            for one in found.wanted
        ],
        "damaged": list(found.damaged),
        "unlike": [asdict(one) for one in found.unlike],
        "beside": [f"{one.sidecar.condition}/{one.files.audio_path.name}" for one in found.beside],
        "doubtful": [one.files.audio_path.name for one in found.doubtful],
        "uncalibrated": [one.files.audio_path.name for one in found.uncalibrated],
        "ended": {condition: asdict(end) for condition, end in found.ended.items()},
        "day": None if day is None else asdict(day),
    }


def checks_documents(checks: Sequence[Check]) -> list[dict[str, Any]]:
    """Every comparison with a value known in closed form."""
    return [
        {
            "check": one.name,
            "source": one.source,
            "error": one.error,
            "allowed": one.allowed,
            "unit": one.unit,
            "passed": one.passed,
        }
        for one in checks
    ]
