"""Figures as files: PNG for a page, SVG and PDF for print, each written whole or not at all."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from distort.report.figures.dark import darken
from distort.report.figures.formats import FormatName, reshape
from distort.report.figures.style import SETTINGS
from distort.session.files.atomic import make_folder, staged, write_bytes, write_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FileKind = Literal["png", "svg", "pdf"]

PNG_OPTIONS: dict[str, Any] = {"pil_kwargs": {"compress_level": 3}}
"""Of zlib's nine: half the time of the usual six, and files a twentieth larger."""

TOGETHER: tuple[FileKind, ...] = ("png", "svg")
"""Kinds that one drawing gives."""

METADATA: dict[FileKind, dict[str, Any]] = {
    "png": {"Software": None},
    "svg": {"Date": None},
    "pdf": {"CreationDate": None},
}
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
        together = TOGETHER if set(TOGETHER) <= set(kinds) else ()
        if together:
            _save_together(figure, *(paths[kind] for kind in together))
        for kind in kinds:
            if kind not in together:
                with staged(paths[kind], replace=True) as temporary:
                    options: dict[str, Any] = PNG_OPTIONS if kind == "png" else {}
                    figure.savefig(temporary, format=kind, dpi=figure.dpi, metadata=METADATA[kind], **options)
    return tuple(paths.values())


def _save_together(figure: "Figure", png: Path, svg: Path) -> None:
    from io import BytesIO, StringIO

    from matplotlib.image import imsave

    from distort.report.figures.canvas import POINTS_PER_INCH, Canvas, VectorRenderer
    from distort.report.figures.twofold import Twofold

    pixels: Any = Canvas(figure).get_renderer()
    pixels.clear()
    width, height = POINTS_PER_INCH * figure.get_size_inches()
    vector, raster = StringIO(), BytesIO()
    points: Any = VectorRenderer(width, height, file=vector, image_dpi=figure.dpi, metadata=METADATA["svg"])
    figure.draw(Twofold(pixels, points))
    points.finalize()
    imsave(raster, pixels.buffer_rgba(), format="png", dpi=figure.dpi, metadata=METADATA["png"], **PNG_OPTIONS)
    write_text(svg, vector.getvalue())
    write_bytes(png, raster.getvalue())


def png_of(figure: "Figure") -> bytes:
    """The figure as the bytes of a PNG, for whoever keeps a record of them."""
    from io import BytesIO

    from matplotlib import rc_context

    content = BytesIO()
    with rc_context(SETTINGS):
        figure.savefig(
            content,
            format="png",
            dpi=figure.dpi,
            metadata=METADATA["png"],
            **PNG_OPTIONS,
        )
    return content.getvalue()
