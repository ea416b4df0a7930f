"""What `distort compare` wrote into results/compare: what it said, its pictures, and its tables to download."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from distort.report.page.downloads import Download, data_address
from distort.report.page.vector import vector_address
from distort.report.text.comparison_proof import proof
from distort.session.audio.original import without_file_names
from distort.session.files.folder import SessionFolder
from distort.session.files.reading import read_bytes, read_text
from distort.session.results.comparison_files import Comparison, read_comparisons


def comparisons(folder: SessionFolder) -> list[dict[str, Any]]:
    """Every comparison of the session as its template wants it. Raises OSError when a file cannot be read."""
    return [_comparison(folder, one) for one in read_comparisons(folder).each]


def _comparison(folder: SessionFolder, one: Comparison) -> dict[str, Any]:
    """One comparison; its words as they were said, and whether the session was analysed again since."""
    words = _words(one.said["words"])
    sides = [str(side["name"]) for side in (one.said["a"], one.said["b"]) if isinstance(side, dict) and "name" in side]
    return {
        "heading": words.get("heading", [one.document.stem.replace("__", " and ")])[0],
        "proves": proof(one.said["quantities"], *sides) if len(sides) == 2 else None,
        "older": any(
            folder.findings_path(condition).stat().st_mtime_ns > one.document.stat().st_mtime_ns
            for condition in folder.conditions_analysed()
        ),
        "changes": words.get("changes", []),
        "faults": words.get("faults", []),
        "alike": " ".join(each.strip() for each in words.get("alike", [])),
        "pictures": [_picture(path) for path in _pictures(one.files)],
        "tables": [
            Download(name=path.name, address=data_address("text/csv", read_bytes(path)))
            for path in one.files
            if path.suffix == ".csv"
        ],
    }


def _words(found: Any) -> dict[str, list[str]]:
    """What a comparison said, as its document holds it; nothing where it holds no words."""
    if not isinstance(found, dict):
        return {}
    listed = {key: value if isinstance(value, list) else [value] for key, value in found.items()}
    return {
        key: [without_file_names(str(one)).replace("+-", "\u00b1") for one in value]
        for key, value in listed.items()
        if value
    }


def _pictures(files: Sequence[Path]) -> list[Path]:
    """Each once, as vectors where there are some."""
    vectors = [path for path in files if path.suffix == ".svg"]
    drawn = {path.with_suffix("") for path in vectors}
    return sorted([*vectors, *(path for path in files if path.suffix == ".png" and path.with_suffix("") not in drawn)])


def _picture(path: Path) -> Download:
    vectors = path.suffix == ".svg"
    return Download(
        name=path.stem.replace("__", " and ").replace("_", " "),
        address=vector_address(read_text(path)) if vectors else data_address("image/png", read_bytes(path)),
    )
