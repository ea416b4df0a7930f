"""What `distort compare` left in results/compare: what it said, its pictures, and its tables to download."""

import base64
from collections.abc import Sequence
from pathlib import Path

from distort.report.page.markup import Markup, bullets, element, markup
from distort.report.page.vector import vector_address
from distort.session.files.folder import SessionFolder
from distort.session.files.json_fields import load_json_object
from distort.session.recordings.original import without_file_names


def comparison_part(folder: SessionFolder) -> Markup:
    """Every comparison of the session with its pictures and tables. Raises OSError when a file cannot be read."""
    where = folder.inside("results", "compare")
    if not where.is_dir():
        return Markup("")
    files = sorted(path for path in where.rglob("*") if path.is_file() and not path.name.startswith("."))
    said = [path for path in files if path.suffix == ".json"]
    of: dict[Path | None, list[Path]] = {one: [] for one in (*said, None)}
    for path in files:
        of[_document_of(path, said)].append(path)
    parts = [_comparison(folder, one, of[one]) for one in said]
    return markup([*parts, _pictures(of[None]), _links(of[None])])


def _document_of(path: Path, documents: Sequence[Path]) -> Path | None:
    """The comparison that a file belongs to: the one whose whole name it begins with."""
    named = [one for one in documents if path.stem == one.stem or path.stem.startswith(f"{one.stem}_")]
    return max(named, key=lambda one: len(one.stem), default=None)


def _comparison(folder: SessionFolder, document: Path, files: Sequence[Path]) -> Markup:
    """One comparison; its words as they were said, and a caution where the session was analysed again since."""
    words = _words(document)
    newer = any(
        path.stat().st_mtime_ns > document.stat().st_mtime_ns
        for path in folder.inside("results").glob("*/findings.json")
    )
    caution = "Careful: the session was analysed again after this was compared."
    return element(
        "div",
        element("h3", words.get("heading", [document.stem.replace("__", " and ")])[0]),
        element("p", caution, class_="simulated", role="note") if newer else "",
        bullets(words.get("changes", [])),
        bullets(words.get("faults", [])),
        element("p", " ".join(one.strip() for one in words.get("alike", [])), class_="how"),
        _pictures(files),
        _links(files),
    )


def _words(document: Path) -> dict[str, list[str]]:
    """What a comparison said, as its document holds it; nothing where it holds no words."""
    found = load_json_object(document).get("words")
    if not isinstance(found, dict):
        return {}
    listed = {key: value if isinstance(value, list) else [value] for key, value in found.items()}
    return {
        key: [without_file_names(str(one)).replace("+-", "\u00b1") for one in value]
        for key, value in listed.items()
        if value
    }


def _pictures(files: Sequence[Path]) -> Markup:
    """Each once, as vectors where there are some."""
    vectors = [path for path in files if path.suffix == ".svg"]
    drawn = {path.with_suffix("") for path in vectors}
    pictures = [*vectors, *(path for path in files if path.suffix == ".png" and path.with_suffix("") not in drawn)]
    return element("div", (_picture(path) for path in sorted(pictures))) if pictures else Markup("")


def _picture(path: Path) -> Markup:
    name = path.stem.replace("__", " and ").replace("_", " ")
    if path.suffix == ".svg":
        address = vector_address(path.read_text(encoding="utf-8"))
    else:
        address = f"data:image/png;base64,{base64.b64encode(path.read_bytes()).decode('ascii')}"
    return element(
        "figure",
        element("img", src=address, alt=f"Comparison: {name}. Its table is below.", width="1280", height="720"),
        element("figcaption", name),
    )


def _links(files: Sequence[Path]) -> Markup:
    tables = [path for path in files if path.suffix == ".csv"]
    if not tables:
        return Markup("")

    def link(path: Path) -> Markup:
        address = f"data:text/csv;base64,{base64.b64encode(path.read_bytes()).decode('ascii')}"
        return element("li", element("a", path.name, href=address, download=path.name))

    return element("ul", (link(path) for path in tables))
