"""Figures as files: PNG for a page, SVG for print, each written whole or not at all."""

from pathlib import Path
from typing import TYPE_CHECKING

from distort.report.style import DOTS_PER_INCH, SETTINGS
from distort.session.atomic import make_folder, staged

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def save_figure(figure: "Figure", stem: Path) -> tuple[Path, Path]:
    """Write `stem`.png (1920 x 1080) and `stem`.svg and return both paths; missing folders are made.

    The same figure always gives the same bytes. Raises SessionError when a file cannot be written.
    """
    from matplotlib import rc_context

    make_folder(stem.parent)
    written = []
    for kind, metadata in (("png", {"Software": None}), ("svg", {"Date": None})):
        path = stem.with_name(f"{stem.name}.{kind}")
        with staged(path, replace=True) as temporary, rc_context(SETTINGS):
            figure.savefig(temporary, format=kind, dpi=DOTS_PER_INCH, metadata=metadata)
        written.append(path)
    return written[0], written[1]
