"""Figures as files: PNG for a page, SVG and PDF for print, each written whole or not at all."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from distort.report.figures.dark import darken
from distort.report.figures.formats import FormatName, reshape
from distort.report.figures.style import SETTINGS
from distort.session.files.atomic import make_folder, staged

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FileKind = Literal["png", "svg", "pdf"]

PNG_EFFORT = 3
"""Of zlib's nine: half the time of the usual six, and files a twentieth larger."""

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
    written = []
    with rc_context(SETTINGS):
        if form is not None:
            reshape(figure, form)
        if dark:
            darken(figure)
        for kind in kinds:
            path = stem.with_name(f"{stem.name}.{kind}")
            with staged(path, replace=True) as temporary:
                more: dict[str, Any] = {"pil_kwargs": {"compress_level": PNG_EFFORT}} if kind == "png" else {}
                figure.savefig(temporary, format=kind, dpi=figure.dpi, metadata=METADATA[kind], **more)
            written.append(path)
    return tuple(written)


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
            pil_kwargs={"compress_level": PNG_EFFORT},
        )
    return content.getvalue()
