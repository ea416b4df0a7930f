"""What `distort compare` wrote into results/compare: what it said, its pictures, and its tables to download."""

import base64
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from distort.report.page.markup import Markup, bullets, element, markup
from distort.report.page.vector import vector_address
from distort.session.audio.original import without_file_names
from distort.session.files.folder import SessionFolder
from distort.session.files.reading import read_bytes, read_text
from distort.session.results.comparison_files import Comparison, read_comparisons
from distort.session.results.condition_results import conditions_analysed


def comparison_part(folder: SessionFolder) -> Markup:
    """Every comparison of the session with its pictures and tables. Raises OSError when a file cannot be read."""
    return markup([_comparison(folder, one) for one in read_comparisons(folder).each])


def _comparison(folder: SessionFolder, one: Comparison) -> Markup:
    """One comparison; its words as they were said, and a caution where the session was analysed again since."""
    words = _words(one.said["words"])
    newer = any(
        folder.findings_path(condition).stat().st_mtime_ns > one.document.stat().st_mtime_ns
        for condition in conditions_analysed(folder)
    )
    caution = "Careful: the session was analysed again after this was compared."
    return element(
        "div",
        element("h3", words.get("heading", [one.document.stem.replace("__", " and ")])[0]),
        element("p", caution, class_="simulated", role="note") if newer else "",
        bullets(words.get("changes", [])),
        bullets(words.get("faults", [])),
        element("p", " ".join(one.strip() for one in words.get("alike", [])), class_="how"),
        _pictures(one.files),
        _links(one.files),
    )


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


def _pictures(files: Sequence[Path]) -> Markup:
    """Each once, as vectors where there are some."""
    vectors = [path for path in files if path.suffix == ".svg"]
    drawn = {path.with_suffix("") for path in vectors}
    pictures = [*vectors, *(path for path in files if path.suffix == ".png" and path.with_suffix("") not in drawn)]
    return element("div", (_picture(path) for path in sorted(pictures))) if pictures else Markup("")


def _picture(path: Path) -> Markup:
    name = path.stem.replace("__", " and ").replace("_", " ")
    if path.suffix == ".svg":
        address = vector_address(read_text(path))
    else:
        address = f"data:image/png;base64,{base64.b64encode(read_bytes(path)).decode('ascii')}"
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
        address = f"data:text/csv;base64,{base64.b64encode(read_bytes(path)).decode('ascii')}"
        return element("li", element("a", path.name, href=address, download=path.name))

    return element("ul", (link(path) for path in tables))
