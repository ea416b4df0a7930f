"""Figures without the minutes that drawing them takes, for tests of what is written where and not of what it shows."""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from distort.report.figures import comparison, drawing
from distort.report.figures.saving import save_figure


@contextmanager
def blank_figures() -> Iterator[None]:
    """Every figure is made as ever, and saved as the file of an empty one of its size."""
    from matplotlib.figure import Figure

    drawn: dict[str, bytes] = {}
    save = Figure.savefig

    def save_blank(figure: Figure, path: Path, *, format: str, **more: Any) -> None:
        if format not in drawn:
            file = io.BytesIO()
            save(Figure(figsize=figure.get_size_inches()), file, format=format, **more)
            drawn[format] = file.getvalue()
        path.write_bytes(drawn[format])

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Figure, "savefig", save_blank)
        yield


@contextmanager
def unmade_figures() -> Iterator[None]:
    """No figure is made at all: the file of each is that of an empty one, drawn once."""
    from matplotlib.figure import Figure

    def save_empty(job: drawing.Drawing) -> drawing.Saved:
        draw, stem, kinds, dark, form = job
        digest = drawing.digest_of(draw, dark, form, drawing.drawing_version())
        return save_figure(Figure(), stem, kinds=kinds, dark=dark), digest

    with blank_figures(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(drawing, "_save", save_empty)
        patch.setattr(drawing, "WORTH_A_PROCESS", 1_000_000)  # this process alone knows of it
        patch.setattr(comparison, "comparison_figure", lambda *_: Figure())
        yield
