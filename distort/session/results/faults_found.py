"""Anomalies and findings as findings.json holds them, and whether it still speaks of the recordings there are."""

from dataclasses import dataclass
from typing import Any, TypeVar

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.findings.finding import Finding
from distort.errors import SessionError, shown
from distort.session.files.folder import SessionFolder
from distort.session.files.json_fields import from_plain, load_json_object
from distort.session.recordings.stored import Recording

T = TypeVar("T", Anomaly, Finding)


@dataclass(frozen=True, kw_only=True)
class FaultsFound:
    """What the last analysis of a condition found."""

    anomalies: tuple[Anomaly, ...]
    findings: tuple[Finding, ...]


def read_faults(folder: SessionFolder, condition: str, recordings: tuple[Recording, ...]) -> FaultsFound | str:
    """The faults of a condition; or, as a sentence, why there are none to be had.

    Raises SessionError when findings.json is there and cannot be read or trusted.
    """
    path = folder.findings_path(condition)
    again = f"run `distort analyze {folder.root}`"
    if not path.exists():
        return f"{condition} has no results yet: {again}"
    document = load_json_object(path)
    if "anomalies" not in document or document.get("findings") is None:
        return f"the results of {condition} hold no findings: {again} again"
    analysed = {str(one.get("sha256")) for one in document.get("recordings", ()) if isinstance(one, dict)}
    if any(one.sidecar.recording_sha256 not in analysed for one in recordings):
        return f"{condition} has recordings newer than its results: {again} again"
    try:
        return FaultsFound(anomalies=_all(document["anomalies"], Anomaly), findings=_all(document["findings"], Finding))
    except ValueError as error:
        raise SessionError(f"{path} does not hold what it must ({error}): {again} again") from error


def _all(plain: Any, made_by: type[T]) -> tuple[T, ...]:
    if not isinstance(plain, list):
        raise ValueError(f"a list is needed, not {shown(plain)}")
    return tuple(from_plain(one, made_by) for one in plain)
