"""Total harmonic distortion of all levels in one figure, re the fundamental, in decibels and per cent."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.common.curves import Harmonics
from distort.report.figures.axes import frequency_axis, level_axis
from distort.report.figures.dips import mark_dips, note_with_dips
from distort.report.figures.harmonics import SPAN_DB, distortion_top_db, draw_trust, percent_scale, thd_trust
from distort.report.figures.labels import Labelled, label_beside_curves
from distort.report.figures.style import (
    LEVEL_DASHES,
    SETTINGS,
    Legend,
    key_beside,
    level_colour,
    new_sheet,
)
from distort.report.text.numbers import level_name

if TYPE_CHECKING:
    from matplotlib.figure import Figure

THD_NOTE = """Labels are nominal levels.
Thin, open circles: use with caution
(near the noise floor, or spoilt by
reverberation, a time gate or the speed
of the sweep). Dotted: below the floor."""


def thd_figure(
    levels: Mapping[float, Harmonics], legend: Legend, *, top_db: float | None = None, dips: Sequence[Anomaly] = ()
) -> "Figure":
    """Draw THD of each nominal level (the keys, dB SPL); `top_db` as `distortion_top_db` gives it for a session. The
    bands of `dips` are hatched.

    Raises ValueError when there is nothing to draw.
    """
    from matplotlib import rc_context
    from matplotlib.lines import Line2D

    if not levels:
        raise ValueError("a figure of THD needs at least one level")
    ordered = sorted(levels)
    most = max(order.order for each in levels.values() for order in each.orders)
    with rc_context(SETTINGS):
        figure, axes = new_sheet(legend, f"total harmonic distortion at each level (H2 to H{most})")
        frequency_axis(axes)
        axes.set_xlabel("Frequency played in Hz")
        top = distortion_top_db(list(levels.values())) if top_db is None else top_db
        level_axis(axes, "Level re the fundamental in dB", top_db=top, span_db=SPAN_DB)
        percent_scale(axes)
        curves, thin, handles = [], [], []
        for index, level in enumerate(ordered):
            trust = thd_trust(levels[level])
            style: dict[str, Any] = {
                "color": level_colour(index, len(ordered)),
                "linestyle": LEVEL_DASHES[(len(ordered) - 1 - index) % len(LEVEL_DASHES)],
                "linewidth": 1.8,
                "zorder": 2.2,
            }
            draw_trust(axes, trust, style)
            handles.append(Line2D([], [], **style))
            clean = np.where(trust[2], np.nan, trust[1])
            shown = clean if np.isfinite(clean).any() else trust[1]
            name = f"{level_name(level)} dB"
            curves.append(Labelled(name=name, colour=style["color"], frequency_hz=trust[0], level_db=shown))
            thin.append(Labelled(name="", colour=style["color"], frequency_hz=trust[0], level_db=trust[1]))
        label_beside_curves(axes, curves, avoid=thin)
        key_beside(figure, handles[::-1], [f"{level_name(level)} dB" for level in reversed(ordered)])
        mark_dips(axes, dips)
        note_with_dips(figure, THD_NOTE, dips)
    return figure
