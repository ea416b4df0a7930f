"""What figures are measured and drawn on: letters are shapes as in vector files, and are laid out once for all figures.

Most words of a figure stand in the others as well: the numbers of the axes, the title, the names of curves. matplotlib
lays a line of letters out anew whenever it is measured or drawn, which is most of the time that a figure takes.
"""

from functools import cache, lru_cache
from typing import Any

from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.backends.backend_svg import RendererSVG
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.textpath import TextToPath, text_to_path
from matplotlib.transforms import Affine2D

POINTS_PER_INCH = 72.0

MOST_LINES = 4096
"""Lines of letters whose shapes are kept; a figure has some fifty."""

Face = tuple[tuple[str, ...], str | int]
"""Families of a typeface, the best first, and its weight."""


class Canvas(FigureCanvasAgg):
    """A canvas that shares its renderer with all others of its size: they are drawn one after the other."""

    def get_renderer(self) -> Any:
        """The renderer of this size and resolution."""
        width, height = self.figure.bbox.size
        self.renderer = _renderer(int(width), int(height), self.figure.dpi)
        return self.renderer


@cache
def _renderer(width: int, height: int, dots_per_inch: float) -> Any:
    renderer: Any = _Renderer
    return renderer(width, height, dots_per_inch)


class _Renderer(RendererAgg):
    """Draws letters as filled shapes, and measures them by these, without hints for the grid of pixels."""

    def draw_text(self, gc: Any, x: float, y: float, s: str, *style: Any, **more: Any) -> None:
        """One line with its left end on the base line at `x`, `y`, pixels from the upper left corner of the sheet.

        style   properties of the font, and the angle in degrees
        """
        font, angle = style[:2]
        shape = _shape(s, _face(font))
        if shape is None:
            return
        scale = self._pixels(font) / text_to_path.FONT_SCALE
        gc.set_linewidth(0.0)
        gc.set_snap(False)  # letters that have no slanted stroke would be moved to whole pixels
        place = Affine2D().scale(scale).rotate_deg(angle).translate(x, self.height - y)
        draw: Any = self.draw_path
        draw(gc, shape, place, gc.get_rgb())

    def get_text_width_height_descent(self, s: str, prop: FontProperties, ismath: Any) -> tuple[float, float, float]:
        """Extent of one line in pixels."""
        size = self._pixels(prop)
        width, height, descent = _extent(s, _face(prop))
        return size * width, size * height, size * descent

    def _pixels(self, font: FontProperties) -> float:
        """Size of the letters."""
        return font.get_size_in_points() * float(self.dpi) / POINTS_PER_INCH


def _face(font: FontProperties) -> Face:
    return tuple(font.get_family()), font.get_weight()


@lru_cache(MOST_LINES)
def _shape(text: str, face: Face) -> Path | None:
    """Outline of a line of letters in units of the font; None of blanks."""
    families, weight = face
    corners, codes = _LETTERS.get_text_path(FontProperties(family=families, weight=weight), text)
    return Path(corners, codes) if len(corners) else None


@lru_cache(MOST_LINES)
def _extent(text: str, face: Face) -> tuple[float, float, float]:
    """Width, height and what hangs below the line, re the size of the letters."""
    families, weight = face
    font = FontProperties(family=families, weight=weight, size=1.0)
    width, height, descent = text_to_path.get_text_width_height_descent(text, font, ismath=False)
    return float(width), float(height), float(descent)


class _Letters(TextToPath):
    """Lays each line of letters out once, for pixels and for vectors."""

    def get_glyphs_with_font(
        self,
        font: Any,
        s: str,
        glyph_map: dict[str, Any] | None = None,
        return_new_glyphs_only: bool = False,
        **more: Any,
    ) -> Any:
        """Names and places of the letters, the shapes by name (those that `glyph_map` lacks, or all), rectangles."""
        places, shapes, rectangles = _laid_out(font, s)
        known = glyph_map or {}
        new = {name: shape for name, shape in shapes.items() if name not in known}
        return places, new if return_new_glyphs_only else {**known, **new}, rectangles


@lru_cache(MOST_LINES)
def _laid_out(font: Any, text: str) -> Any:
    return text_to_path.get_glyphs_with_font(font, text)


_LETTERS = _Letters()


class VectorRenderer(RendererSVG):
    """Writes an SVG, each line of letters laid out once for all files."""

    def __init__(self, *size: float, file: Any, **more: Any) -> None:
        write: Any = super().__init__
        write(*size, file, **more)
        self._text2path = _LETTERS
