"""The same figures on a dark ground: every colour keeps its hue and changes lightness for darkness.

Lightness is that of Oklab (B. Ottosson, "A perceptual color space for image processing", 2020; matrices as published
there), in which equal steps look equal. So what was quiet on white is quiet on dark, and what stood out stands out.
"""

from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.common.curves import FloatArray

if TYPE_CHECKING:
    from matplotlib.figure import Figure

GROUND_LIGHTNESS = 0.20
"""White becomes this: a dark grey, on which black's counterpart, near white, is easier on the eye than on black."""

COLOURED, PALE = 0.05, 0.9
"""Chroma from which a colour is no grey, and lightness from which it is no line but a ground. Lines in colour change
less: the darkest become the brightest, and all stay clear of the dark ground."""

_TO_CONES = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_TO_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)


def dark_of(colour: str) -> str:
    """The counterpart on dark of a colour on white, "#rrggbb" both. Raises ValueError for anything else."""
    if len(colour) != 7 or colour[0] != "#":
        raise ValueError(f"a colour is written #rrggbb, not {colour!r}")
    values = np.array([int(colour[place : place + 2], 16) for place in (1, 3, 5)]) / 255.0
    lab = _TO_LAB @ np.cbrt(_TO_CONES @ _linear(values))
    coloured = np.hypot(lab[1], lab[2]) > COLOURED and lab[0] < PALE
    lab[0] = 0.85 - 0.55 * (lab[0] - 0.3) if coloured else 0.97 - (0.97 - GROUND_LIGHTNESS) * lab[0]
    rgb = _encoded(np.linalg.solve(_TO_CONES, np.linalg.solve(_TO_LAB, lab) ** 3))
    return "#" + "".join(f"{round(255.0 * float(value)):02x}" for value in rgb)


def _linear(values: FloatArray) -> FloatArray:
    """sRGB as light (IEC 61966-2-1)."""
    return np.asarray(np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4))


def _encoded(light: FloatArray) -> FloatArray:
    """Light as sRGB (IEC 61966-2-1), held within what a screen can show."""
    held = np.clip(light, 0.0, 1.0)
    return np.asarray(np.where(held <= 0.0031308, 12.92 * held, 1.055 * held ** (1.0 / 2.4) - 0.055))


def darken(figure: "Figure") -> None:
    """Give everything that `figure` draws its colour on dark. What an artist keeps transparent stays so."""
    from matplotlib import patheffects
    from matplotlib.collections import Collection
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch
    from matplotlib.text import Text

    from distort.report.figures.scale import Scale
    from distort.report.figures.strokes import Strokes

    ground = dark_of("#ffffff")
    for artist in figure.findobj():
        if isinstance(artist, Text):
            artist.set_color(_counterpart(artist.get_color()))
            if (badge := artist.get_bbox_patch()) is not None:  # the patch behind a text is nobody's child
                _recolour(badge, "facecolor", "edgecolor")
            if artist.get_path_effects():
                artist.set_path_effects([patheffects.withStroke(linewidth=2.5, foreground=ground)])
        elif isinstance(artist, Line2D):
            _recolour(artist, "color", "markerfacecolor", "markeredgecolor")
        elif isinstance(artist, Scale):
            _recolour(artist, "color", "numbercolor")
        elif isinstance(artist, Strokes):
            _recolour(artist, "color")
        elif isinstance(artist, Patch):
            _recolour(artist, "facecolor", "edgecolor")
        elif isinstance(artist, Collection):
            artist.set_facecolor([_counterpart(one) for one in artist.get_facecolor()])
            artist.set_edgecolor([_counterpart(one) for one in artist.get_edgecolor()])


def _recolour(artist: Any, *names: str) -> None:
    """Change the named colours, all of them read before any is set, since one may follow another."""
    before = {name: getattr(artist, f"get_{name}")() for name in names}
    for name, colour in before.items():
        getattr(artist, f"set_{name}")(_counterpart(colour))


def _counterpart(colour: Any) -> Any:
    from matplotlib.colors import to_hex, to_rgba

    if isinstance(colour, str) and colour in ("none", "auto"):
        return colour
    *_, alpha = to_rgba(colour)
    return to_rgba(dark_of(to_hex(colour)), alpha)
