"""A figure drawn once for two files: in pixels for a PNG, and the same shapes in points for an SVG.

Finding out where everything stands takes longer than drawing it, so it is not done for each file.
"""

from typing import Any

from matplotlib.backend_bases import RendererBase
from matplotlib.transforms import Affine2D, TransformedBbox, TransformedPath

from distort.report.figures.canvas import POINTS_PER_INCH


class Twofold(RendererBase):
    """Gives whatever is drawn to a renderer in `pixels` as it is, and to one in `points` with its places scaled.

    Widths of lines, dashes and sizes of letters are points for both. It takes what figures are made of: paths, markers,
    collections of paths, text, and images.
    """

    def __init__(self, pixels: Any, points: Any) -> None:
        super().__init__()
        self.pixels, self.points = pixels, points
        self.width, self.height, self.dpi = pixels.width, pixels.height, pixels.dpi
        self.share = POINTS_PER_INCH / pixels.dpi
        self.scaled = Affine2D().scale(self.share)

    def points_to_pixels(self, points: Any) -> Any:
        """As the renderer in pixels has it."""
        return self.pixels.points_to_pixels(points)

    def flipy(self) -> bool:
        """Places of text count downwards in both."""
        return True

    def get_canvas_width_height(self) -> tuple[float, float]:
        """In pixels."""
        return self.width, self.height

    def get_text_width_height_descent(self, s: str, prop: Any, ismath: Any) -> tuple[float, float, float]:
        """In pixels."""
        width, height, descent = self.pixels.get_text_width_height_descent(s, prop, ismath)
        return width, height, descent

    def open_group(self, s: str, gid: str | None = None) -> None:
        """Begin a group, which only the vector file has."""
        self.points.open_group(s, gid)

    def close_group(self, s: str) -> None:
        """End it."""
        self.points.close_group(s)

    def draw_path(self, gc: Any, path: Any, transform: Any, *face: Any) -> None:
        """One path."""
        self.points.draw_path(self._in_points(gc), path, transform + self.scaled, *face)
        self.pixels.draw_path(gc, path, transform, *face)

    def draw_markers(self, gc: Any, marker_path: Any, marker_trans: Any, path: Any, *rest: Any) -> None:
        """The same marker at every point of a path.

        rest   where the path's points lie, and the colour that fills the markers
        """
        place, *face = rest
        scaled = marker_trans + self.scaled
        self.points.draw_markers(self._in_points(gc), marker_path, scaled, path, place + self.scaled, *face)
        self.pixels.draw_markers(gc, marker_path, marker_trans, path, place, *face)

    def draw_path_collection(self, gc: Any, master_transform: Any, paths: Any, *rest: Any, **styles: Any) -> None:
        """Paths that share their style.

        rest   transforms of single paths, the offsets of all, where these lie, and the styles
        """
        transforms, offsets, place, *given = rest
        scaled, moved = (master_transform + self.scaled).frozen(), place + self.scaled
        self.points.draw_path_collection(
            self._in_points(gc), scaled, paths, transforms, offsets, moved, *given, **styles
        )
        self.pixels.draw_path_collection(gc, master_transform, paths, *rest, **styles)

    def draw_text(self, gc: Any, x: float, y: float, s: str, *style: Any, **more: Any) -> None:
        """One line of letters."""
        self.points.draw_text(self._in_points(gc), self.share * x, self.share * y, s, *style, **more)
        self.pixels.draw_text(gc, x, y, s, *style, **more)

    def draw_image(self, gc: Any, x: float, y: float, im: Any, *_: Any) -> None:
        """An image made for the pixels, whose resolution the renderer in points knows."""
        self.points.draw_image(self._in_points(gc), self.share * x, self.share * y, im)
        self.pixels.draw_image(gc, x, y, im)

    def option_image_nocomposite(self) -> bool:
        """Each image by itself, as the renderer in pixels has them."""
        return True

    def _in_points(self, gc: Any) -> Any:
        """The same style, cut off at the same places."""
        scaled = self.points.new_gc()
        scaled.copy_properties(gc)
        if (rectangle := gc.get_clip_rectangle()) is not None:
            scaled.set_clip_rectangle(TransformedBbox(rectangle, self.scaled))
        path, place = gc.get_clip_path()
        if path is not None:
            scaled.set_clip_path(TransformedPath(path, place + self.scaled))
        return scaled
