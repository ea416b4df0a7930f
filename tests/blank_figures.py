"""Figures without the minutes that drawing them takes, for tests of what is written where and not of what it shows."""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest


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
