"""Figures as files: PNG for a page, SVG and PDF for print, each written whole or not at all."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from distort.report.figures.dark import darken
from distort.report.figures.formats import FormatName, reshape
from distort.report.figures.png import png_bytes
from distort.report.figures.style import SETTINGS
from distort.session.files.atomic import make_folder, staged, write_bytes, write_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FileKind = Literal["png", "svg", "pdf"]

METADATA: dict[FileKind, dict[str, Any]] = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}
"""Without dates, so that the same figure always gives the same bytes."""


def save_figure(
    figure: "Figure",
    stem: Path,
    *,
    kinds: Sequence[FileKind] = ("png", "svg"),
    dark: bool = False,
    form: FormatName | None = None,
) -> tuple[Path, ...]:
    """Write `stem` as each of `kinds` (PNG: 1920 x 1080, or as `form` says) and return the paths; missing folders are
    made.

    `form` lays the figure out anew first, `dark` turns its colours. Raises SessionError when a file cannot be written.
    """
    from matplotlib import rc_context

    make_folder(stem.parent)
    with rc_context(SETTINGS):
        if form is not None:
            reshape(figure, form)
        if dark:
            darken(figure)
        paths = {kind: stem.with_name(f"{stem.name}.{kind}") for kind in kinds}
        if {"png", "svg"} <= set(kinds):
            raster, vector = _drawn_once(figure)
            write_text(paths["svg"], vector)
            write_bytes(paths["png"], raster)
        elif "png" in kinds:
            write_bytes(paths["png"], _raster(figure))
        elif "svg" in kinds:
            _save(figure, paths["svg"], "svg")
        if "pdf" in kinds:
            _save(figure, paths["pdf"], "pdf")
    return tuple(paths.values())


def _save(figure: "Figure", path: Path, kind: FileKind) -> None:
    with staged(path, replace=True) as temporary:
        figure.savefig(temporary, format=kind, dpi=figure.dpi, metadata=METADATA[kind])


def _raster(figure: "Figure") -> bytes:
    from distort.report.figures.canvas import Canvas

    canvas: Any = Canvas(figure)
    canvas.draw()
    return png_bytes(canvas.buffer_rgba(), dots_per_inch=figure.dpi)


def _drawn_once(figure: "Figure") -> tuple[bytes, str]:
    """The PNG and the SVG."""
    from io import StringIO

    from distort.report.figures.canvas import POINTS_PER_INCH, Canvas, VectorRenderer
    from distort.report.figures.twofold import Twofold

    pixels: Any = Canvas(figure).get_renderer()
    pixels.clear()
    width, height = POINTS_PER_INCH * figure.get_size_inches()
    vector = StringIO()
    points: Any = VectorRenderer(width, height, file=vector, image_dpi=figure.dpi, metadata=METADATA["svg"])
    figure.draw(Twofold(pixels, points))
    points.finalize()
    return png_bytes(pixels.buffer_rgba(), dots_per_inch=figure.dpi), vector.getvalue()


def png_of(figure: "Figure") -> bytes:
    """The figure as the bytes of a PNG, for whoever keeps a record of them."""
    from matplotlib import rc_context

    with rc_context(SETTINGS):
        return _raster(figure)
