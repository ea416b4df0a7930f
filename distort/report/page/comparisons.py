"""What `distort compare` left in results/compare: its pictures, and its tables to download."""

import base64
from collections.abc import Sequence
from pathlib import Path

from distort.report.page.markup import Markup, element, markup
from distort.report.page.vector import vector_address
from distort.session.files.folder import SessionFolder


def comparison_part(folder: SessionFolder) -> Markup:
    """Every comparison of the session with its pictures and tables. Raises OSError when a file cannot be read."""
    where = folder.inside("results", "compare")
    if not where.is_dir():
        return Markup("")
    files = sorted(path for path in where.rglob("*") if path.is_file() and not path.name.startswith("."))
    vectors = [path for path in files if path.suffix == ".svg"]
    drawn = {path.with_suffix("") for path in vectors}
    pictures = [*vectors, *(path for path in files if path.suffix == ".png" and path.with_suffix("") not in drawn)]
    tables = [path for path in files if path.suffix == ".csv"]
    return markup([element("div", (_picture(path) for path in sorted(pictures))), _links(tables)])


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


def _links(tables: Sequence[Path]) -> Markup:
    if not tables:
        return Markup("")

    def link(path: Path) -> Markup:
        address = f"data:text/csv;base64,{base64.b64encode(path.read_bytes()).decode('ascii')}"
        return element("li", element("a", path.name, href=address, download=path.name))

    return element("ul", (link(path) for path in tables))
