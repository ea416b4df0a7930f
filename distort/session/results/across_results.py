"""results/findings.json of a session: what several conditions show, and what those that were changed prove."""

from pathlib import Path
from typing import Any

from distort.analysis.findings.across import FindingAcross
from distort.analysis.findings.finding import Finding
from distort.errors import SessionError, shown
from distort.session.files.atomic import make_folder, write_text
from distort.session.files.folder import SessionFolder
from distort.session.files.json_fields import FORMAT, as_document, from_plain, json_text, load_json_object
from distort.system import patiently

CONDITIONS, VERDICT = "conditions", "verdict"
"""Keys of an entry beside those of a finding; the second only where a condition was changed."""


def across_path(folder: SessionFolder) -> Path:
    """The file. Raises SessionError when it leads out of the session."""
    return folder.inside("results", "findings.json")


def write_across(folder: SessionFolder, found: tuple[FindingAcross, ...]) -> None:
    """Write it; where there is nothing to say it is removed. Raises SessionError when the folder does not allow it."""
    path = across_path(folder)
    if not found:
        if path.is_file():
            patiently(path.unlink)
        return
    make_folder(path.parent)
    write_text(path, json_text({"format": FORMAT, "findings": [_plain(one) for one in found]}, path))


def _plain(one: FindingAcross) -> dict[str, Any]:
    finding = {key: value for key, value in as_document(one.finding).items() if key != "format"}
    verdict = {} if one.verdict is None else {VERDICT: one.verdict}
    return {**finding, CONDITIONS: list(one.conditions), **verdict}


def read_across(folder: SessionFolder) -> tuple[FindingAcross, ...]:
    """What `write_across` wrote; nothing where there is no file. Raises SessionError when it cannot be trusted."""
    path = across_path(folder)
    if not path.exists():
        return ()
    document = load_json_object(path)
    entries = document.get("findings")
    if document.get("format") != FORMAT or not isinstance(entries, list):
        raise SessionError(f"{path} holds no findings: run `distort analyze {folder.root}` again")
    try:
        return tuple(_read(one) for one in entries)
    except ValueError as error:
        raise SessionError(
            f"{path} does not hold what it must ({error}): run `distort analyze {folder.root}` again"
        ) from error


def _read(plain: Any) -> FindingAcross:
    """Raises ValueError for what is no entry."""
    if not isinstance(plain, dict):
        raise ValueError(f"an object is needed, not {shown(plain)}")
    rest = {key: value for key, value in plain.items() if key not in (CONDITIONS, VERDICT)}
    conditions, verdict = plain.get(CONDITIONS), plain.get(VERDICT)
    if not isinstance(conditions, list) or not all(isinstance(one, str) for one in conditions):
        raise ValueError("conditions must hold a list of names")
    if verdict is not None and not isinstance(verdict, str):
        raise ValueError("verdict must hold a text")
    return FindingAcross(finding=from_plain(rest, Finding), conditions=tuple(conditions), verdict=verdict)
