"""Responses that the plan names: the microphone's, and those of the loudspeaker that were measured elsewhere."""

from dataclasses import dataclass, replace

import numpy as np

from distort.analysis.anomalies.anomalies import CurveElsewhere
from distort.analysis.common.microphone import MicrophoneResponse
from distort.errors import SessionError
from distort.session.calibration.calibration_file import read_calibration
from distort.session.calibration.response_file import ResponseTable, read_response_file
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan, ResponseIs


@dataclass(frozen=True, kw_only=True)
class MicrophoneUsed:
    """The response file that was taken out of the readings."""

    file: str
    """Relative to the session."""
    sha256: str
    response_is: ResponseIs
    zero_hz: float
    """Frequency of the calibrator: there it changes nothing."""
    low_hz: float
    high_hz: float
    """Its range; outside it results are empty."""


@dataclass(frozen=True, kw_only=True)
class ResponseFileUsed:
    """A response measured elsewhere, as [analysis] response_files names it."""

    file: str
    """Relative to the session."""
    sha256: str
    low_hz: float
    high_hz: float


UNCALIBRATED_ZERO_HZ = 1000.0
"""Where the response is set to 0 dB while nobody has calibrated: the frequency of most calibrators (IEC 60942)."""


@dataclass(frozen=True, kw_only=True)
class SessionMicrophone:
    """The response, and what the findings say of it."""

    response: MicrophoneResponse
    used: MicrophoneUsed


def read_microphone(folder: SessionFolder, plan: Plan) -> SessionMicrophone | None:
    """What [microphone] response_file names; None where it names none.

    The response is 0 dB at the frequency of the calibrator in calibration/microphone.json, because the calibrator has
    set the level there. A "correction" is a response with the opposite sign.

    Raises SessionError when the file is missing, is no response (file and line), or does not reach that frequency.
    """
    named = plan.microphone.response_file
    if named is None:
        return None
    table = _table(folder, named, named_by="[microphone] response_file")
    sign = 1.0 if plan.microphone.response_is == "response" else -1.0
    phase_deg = None
    if table.phase_deg is not None:
        phase_deg = sign * np.unwrap(table.phase_deg, period=360.0)
    response = MicrophoneResponse(frequency_hz=table.frequency_hz, level_db=sign * table.level_db, phase_deg=phase_deg)
    calibration = read_calibration(folder.calibration_path())
    zero_hz = UNCALIBRATED_ZERO_HZ if calibration is None else calibration.frequency_hz
    at_zero_db = float(response.at(zero_hz))
    low_hz, high_hz = float(table.frequency_hz[0]), float(table.frequency_hz[-1])
    if np.isnan(at_zero_db):
        raise SessionError(
            f"{folder.root / named} reaches from {low_hz:g} to {high_hz:g} Hz, but the level is set at {zero_hz:g} Hz: "
            f"a response that covers it is needed"
        )
    return SessionMicrophone(
        response=replace(response, level_db=response.level_db - at_zero_db),
        used=MicrophoneUsed(
            file=named,
            sha256=table.sha256,
            response_is=plan.microphone.response_is,
            zero_hz=zero_hz,
            low_hz=low_hz,
            high_hz=high_hz,
        ),
    )


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
        table = _table(folder, named, named_by="[analysis] response_files", of_microphone=False)
        curves.append(CurveElsewhere(frequency_hz=table.frequency_hz, level_db=table.level_db))
        used.append(
            ResponseFileUsed(
                file=named,
                sha256=table.sha256,
                low_hz=float(table.frequency_hz[0]),
                high_hz=float(table.frequency_hz[-1]),
            )
        )
    return CurvesElsewhere(curves=tuple(curves), used=tuple(used))


def _table(folder: SessionFolder, named: str, *, named_by: str, of_microphone: bool = True) -> ResponseTable:
    return read_response_file(folder.inside(named), named_by=named_by, of_microphone=of_microphone)
