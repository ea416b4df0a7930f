"""The data inside the page: all tables and findings of a condition in one archive, behind an ordinary link."""

import base64
import io
import zipfile
from pathlib import Path

from distort.report.page.markup import Markup, element
from distort.session.files.folder import SessionFolder
from distort.session.files.reading import read_bytes
from distort.session.results.condition_results import ConditionResults, result_paths

NO_DATE = (1980, 1, 1, 0, 0, 0)
"""The earliest that a ZIP archive knows: the same data always give the same bytes."""


def download_items(folder: SessionFolder, results: ConditionResults) -> Markup:
    """A link to the archive of a condition, and what is in it. Raises OSError when a table cannot be read."""
    condition = results.findings.condition
    files = result_paths(folder, results.findings)
    archive = archive_of(files)
    address = f"data:application/zip;base64,{base64.b64encode(archive).decode('ascii')}"
    name = f"{condition}_results.zip"
    return element(
        "li",
        element("a", name, href=address, download=name),
        f" ({len(archive) / 1000:.0f} kB): {', '.join(path.name for path in files)}",
    )


def archive_of(files: tuple[Path, ...]) -> bytes:
    """`files` in a ZIP archive under their own names. Raises OSError when one cannot be read."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for path in files:
            archive.writestr(zipfile.ZipInfo(path.name, NO_DATE), read_bytes(path), zipfile.ZIP_DEFLATED)
    return buffer.getvalue()
