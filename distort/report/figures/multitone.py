"""The multitone figure: what was played, and what came that was not asked for, per third octave in dB SPL.

Hairlines run 20, 40, 60 and 80 dB below the lines that were played, so that the same curves can be read as a share of
the sound. A curve is bold where it can be trusted, thin near its floor, dotted below it.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.common.curves import BoolArray, FloatArray
from distort.analysis.common.grid import band_edges_hz
from distort.analysis.multitone.curves import MultitoneBands
from distort.report.figures.axes import frequency_axis, level_axis
from distort.report.figures.harmonics import draw_trust
from distort.report.figures.labels import Labelled, label_beside_curves
from distort.report.figures.response import AXIS_LABELS, HEADROOM_DB
from distort.report.figures.style import (
    BLACK,
    FILL,
    GREY,
    HIGHEST_HZ,
    ORDER_COLOURS,
    ORDER_DASHES,
    QUIET,
    SETTINGS,
    Legend,
    key_beside,
    new_sheet,
    note,
)
from distort.report.text.multitone_bands import Part, third_octaves
from distort.report.text.numbers import level_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SPAN_DB = 100.0
LINES_STYLE: dict[str, Any] = {"color": GREY, "linestyle": "-", "linewidth": 1.4, "zorder": 2.4}
TOTAL_STYLE: dict[str, Any] = {"color": BLACK, "linestyle": "-", "linewidth": 3.6, "zorder": 2.2}
EVEN_STYLE: dict[str, Any] = {
    "color": ORDER_COLOURS[2],
    "linestyle": ORDER_DASHES[2],
    "linewidth": 1.8,
    "zorder": 2.3,
}
ODD_STYLE: dict[str, Any] = {"color": ORDER_COLOURS[3], "linestyle": ORDER_DASHES[3], "linewidth": 1.8, "zorder": 2.3}
GUIDE_STYLE: dict[str, Any] = {"color": QUIET, "linestyle": "-", "linewidth": 0.5, "zorder": 1.2}
BELOW_DB = (20.0, 40.0, 60.0, 80.0)
"""Where the guides run, re the lines: 10, 1, 0.1 and 0.01 %."""

BAND_NOTE = """Each step is a third octave. Averaged
over many periods, distortion can be
read below the noise.
Thin, open circles: use with caution
(under 10 dB above its floor).
Dotted: below its floor."""


def multitone_top_db(tables: Sequence[MultitoneBands]) -> float:
    """Top of the level axis in dB, a multiple of five, the same for all `tables`."""
    highest = max(float(np.nanmax(table.level_db)) for table in tables)
    return float(np.ceil((highest + HEADROOM_DB) / 5.0) * 5.0)


def multitone_figure(
    bands: MultitoneBands, legend: Legend, *, level_db_spl: float, top_db: float | None = None
) -> "Figure":
    """Draw the multitone of nominal level `level_db_spl`; `top_db` as `multitone_top_db` gives it for a session."""
    from matplotlib import rc_context

    parts = third_octaves(bands)
    with rc_context(SETTINGS):
        figure, axes = new_sheet(legend, f"multitone distortion at {level_name(level_db_spl)} dB SPL (1 m, nominal)")
        frequency_axis(axes)
        level_axis(
            axes,
            f"{AXIS_LABELS[bands.unit]}, per third octave",
            top_db=multitone_top_db([bands]) if top_db is None else top_db,
            span_db=SPAN_DB,
        )
        over_hz = steps_hz(bands.frequency_hz)
        _guides(axes, over_hz, bands)
        noise_db = twice(bands.level_db + bands.noise_db)
        axes.fill_between(over_hz, axes.get_ylim()[0], noise_db, color=FILL, linewidth=0.0, zorder=0.5)
        axes.plot(over_hz, twice(bands.level_db), **LINES_STYLE)
        curves = [Labelled(name="tones", colour=GREY, frequency_hz=over_hz, level_db=twice(bands.level_db))]
        for name, part, style in (
            ("total", parts.distortion, TOTAL_STYLE),
            ("even", parts.even, EVEN_STYLE),
            ("odd", parts.odd, ODD_STYLE),
        ):
            trust = _trust(over_hz, part, bands)
            draw_trust(axes, trust, style)
            clean = np.where(trust[3], np.nan, trust[1])
            curves.append(Labelled(name=name, colour=style["color"], frequency_hz=over_hz, level_db=clean))
        label_beside_curves(axes, curves)
        _key(figure)
        note(figure, BAND_NOTE, short="Thin, circles: use with caution.")
    return figure


def steps_hz(midbands_hz: FloatArray) -> FloatArray:
    """Lower and upper edge of every third octave, one after the other, `(2 x bands,)`."""
    low_hz, high_hz = band_edges_hz(midbands_hz, bands_per_octave=3)
    return np.column_stack([low_hz, high_hz]).ravel()


def twice(values: FloatArray) -> FloatArray:
    """A value a band at both of its edges."""
    return np.repeat(values, 2)


def _trust(
    over_hz: FloatArray, part: Part, bands: MultitoneBands
) -> tuple[FloatArray, FloatArray, BoolArray, BoolArray]:
    return (
        over_hz,
        twice(bands.level_db + part.values_db),
        np.repeat(part.doubtful, 2),
        np.repeat(part.below, 2),
    )


def _guides(axes: "Axes", over_hz: FloatArray, bands: MultitoneBands) -> None:
    """Lines in parallel to those that were played, named in per cent right of the box."""
    bottom = axes.get_ylim()[0]
    for below_db in BELOW_DB:
        guide_db = twice(bands.level_db - below_db)
        axes.plot(over_hz, guide_db, **GUIDE_STYLE)
        drawn = np.flatnonzero(np.isfinite(guide_db) & (over_hz < HIGHEST_HZ))
        if drawn.size and guide_db[drawn[-1]] > bottom:
            axes.annotate(
                f"{100.0 * 10.0 ** (-below_db / 20.0):g} %",
                xy=(1.0, float(guide_db[drawn[-1]])),
                xycoords=axes.get_yaxis_transform(),
                xytext=(6.0, 0.0),
                textcoords="offset points",
                color=GREY,
                va="center",
                annotation_clip=False,
            )


def _key(figure: "Figure") -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    entries: list[tuple[Any, str]] = [
        (Line2D([], [], **LINES_STYLE), "tones played"),
        (Line2D([], [], **TOTAL_STYLE), "distortion"),
        (Line2D([], [], **EVEN_STYLE), "even orders"),
        (Line2D([], [], **ODD_STYLE), "odd orders"),
        (Patch(color=FILL), "noise"),
        (Line2D([], [], **GUIDE_STYLE), "shares of the tones"),
    ]
    key_beside(figure, [handle for handle, _ in entries], [name for _, name in entries])
