"""Responses measured elsewhere, as [analysis] response_files names them: in the free field, or averaged over places."""

from dataclasses import dataclass

from distort.analysis.coincidences.anomalies import CurveElsewhere
from distort.session.calibration.response_file import read_response_file
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.plan.keys import Plan
from distort.session.results.condition_results import ResponseFileUsed


@dataclass(frozen=True, kw_only=True)
class CurvesElsewhere:
    """The curves, and what the findings say of them, in the order of the plan."""

    curves: tuple[CurveElsewhere, ...]
    used: tuple[ResponseFileUsed, ...]


def read_curves_elsewhere(folder: SessionFolder, plan: Plan) -> CurvesElsewhere:
    """All curves that the plan names; none where it names none.

    Raises SessionError, with file and line, when one is missing or is no table of frequency and dB.
    """
    curves, used = [], []
    for named in plan.analysis.response_files:
        path = folder.inside(named)
        table = read_response_file(path, named_by="[analysis] response_files", of_microphone=False)
        curves.append(CurveElsewhere(frequency_hz=table.frequency_hz, level_db=table.level_db))
        used.append(
            ResponseFileUsed(
                file=named,
                sha256=sha256_of_file(path),
                low_hz=float(table.frequency_hz[0]),
                high_hz=float(table.frequency_hz[-1]),
            )
        )
    return CurvesElsewhere(curves=tuple(curves), used=tuple(used))
