"""The axes of every figure: which numbers they have, and what draws them."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from distort.report.figures.style import (
    BLACK,
    GREY,
    HIGHEST_HZ,
    LOWEST_HZ,
    NUMBER_POINTS,
    PALE,
)
from distort.report.text.numbers import OCTAVE_HZ, OCTAVE_NAMES

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from numpy.typing import ArrayLike

    from distort.report.figures.scale import Scale, Side


def frequency_axis(axes: "Axes") -> None:
    """20 Hz to 20 kHz, octave midbands labelled, third-octave midbands ticked (IEC 61260-1)."""
    axes.set_xscale("log")
    axes.minorticks_off()
    axes.set_xlim(LOWEST_HZ, HIGHEST_HZ)
    draw_grid(axes)
    name_octaves(axes)
    scale_of(axes, "bottom").small_marks = 1000.0 * 10.0 ** (np.arange(-16, 13) / 10.0)
    axes.set_xlabel("Frequency in Hz")


def draw_grid(axes: "Axes", along: str = "xy", *, points: float = NUMBER_POINTS) -> None:
    """Lines behind the curves of `axes` as `Grid` has them, and its marks, numbers and names as `Scale` has them.

    points    size of the numbers
    """
    from distort.report.figures.grid import Grid
    from distort.report.figures.scale import Scale, hold_names

    axes.add_artist(Grid(along=along, colour=PALE))
    axes.add_artist(Scale("bottom", colour=GREY, number_colour=BLACK, points=points))
    axes.add_artist(Scale("left", colour=GREY, number_colour=BLACK, points=points))
    axes.xaxis.set_visible(False)
    axes.yaxis.set_visible(False)
    hold_names(axes)


def second_scale(axes: "Axes", numbers: Mapping[float, str]) -> None:
    """On the right of `axes` what its levels are in something else, `numbers` by their places on the level axis."""
    from distort.report.figures.scale import Scale

    axes.add_artist(Scale("right", colour=GREY, number_colour=BLACK, points=NUMBER_POINTS, second=numbers))


def name_octaves(axes: "Axes", *, every: int = 1) -> None:
    """A number at every octave midband, or at every so many from 1 kHz on, where the axis is short; one at its ends."""
    named = [name if (index - OCTAVE_NAMES.index("1k")) % every == 0 else "" for index, name in enumerate(OCTAVE_NAMES)]
    last = "" if every > 1 and named[-1] else "20k"  # it would run into "16k"
    set_numbers(axes.xaxis, (LOWEST_HZ, *OCTAVE_HZ, HIGHEST_HZ), ("20", *named, last))
    scale_of(axes, "bottom").last_goes_on = every == 1


def level_axis(axes: "Axes", label: str, *, top_db: float, span_db: float) -> None:
    """`span_db` (50 or 100) down from `top_db`, a labelled line every tenth of it."""
    step = span_db / 10.0
    axes.set_ylim(top_db - span_db, top_db)
    set_numbers(axes.yaxis, np.arange(np.ceil((top_db - span_db) / step) * step, top_db + 0.5 * step, step))
    axes.set_ylabel(label)


def set_numbers(axis: "Axis", places: "ArrayLike", names: Sequence[str] | None = None) -> None:
    """Where `axis` has numbers, and what they are if not the places: as matplotlib's `set_ticks`, which makes ticks."""
    from matplotlib.ticker import FixedFormatter, FixedLocator

    axis.set_major_locator(FixedLocator(np.asarray(places).tolist()))
    if names is not None:
        axis.set_major_formatter(FixedFormatter(names))


def scale_of(axes: "Axes", side: "Side") -> "Scale":
    """The scale along a side of `axes`. Raises ValueError where there is none."""
    from distort.report.figures.scale import Scale

    for artist in axes.artists:
        if isinstance(artist, Scale) and artist.side == side:
            return artist
    raise ValueError(f"no scale along the {side}")
