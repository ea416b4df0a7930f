"""The data inside the page: all tables and findings of a condition in one archive, behind an ordinary link."""

import base64
import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from distort.session.files.folder import SessionFolder
from distort.session.files.reading import read_bytes
from distort.session.results.condition_results import ConditionResults, result_paths

NO_DATE = (1980, 1, 1, 0, 0, 0)
"""The earliest that a ZIP archive knows: the same data always give the same bytes."""


@dataclass(frozen=True, kw_only=True)
class Download:
    """A link whose address is what it leads to."""

    name: str
    address: str
    kilobytes: str = ""
    files: tuple[str, ...] = ()
    """What an archive holds."""


MOST_BYTES = 3_000_000
"""Of all archives in the page. Where a session has more, its first conditions have their archives, and the others are
named: their tables lie in the session's folder."""


@dataclass(frozen=True, kw_only=True)
class Downloads:
    """What the page holds, and what it has no room for."""

    each: tuple[Download, ...]
    left_out: tuple[str, ...]
    """Conditions."""


def downloads_of(folder: SessionFolder, conditions: Sequence[ConditionResults]) -> Downloads:
    """The archives of the first conditions, as many as have room. Raises OSError when a table cannot be read."""
    each: list[Download] = []
    left_out: list[str] = []
    room = MOST_BYTES
    for results in conditions:
        made = None if left_out else download_of(folder, results)
        if made is None or len(made.address) > room:
            left_out.append(results.findings.condition)
            continue
        room -= len(made.address)
        each.append(made)
    return Downloads(each=tuple(each), left_out=tuple(left_out))


def download_of(folder: SessionFolder, results: ConditionResults) -> Download:
    """The archive of a condition, and what is in it. Raises OSError when a table cannot be read."""
    files = result_paths(folder, results.findings)
    archive = archive_of(files)
    return Download(
        name=f"{results.findings.condition}_results.zip",
        address=data_address("application/zip", archive),
        kilobytes=f"{len(archive) / 1000:.0f}",
        files=tuple(path.name for path in files),
    )


def data_address(kind: str, data: bytes) -> str:
    """`data` of the media type `kind` as an address (RFC 2397)."""
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"


def archive_of(files: Sequence[Path]) -> bytes:
    """`files` in a ZIP archive under their own names. Raises OSError when one cannot be read."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for path in files:
            archive.writestr(zipfile.ZipInfo(path.name, NO_DATE), read_bytes(path), zipfile.ZIP_DEFLATED)
    return buffer.getvalue()
