"""How far each level's response stands above the noise of its recording: what may be read at which frequency."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from distort.analysis.common.caution import CLEAR_OF_NOISE_DB
from distort.analysis.common.curves import FloatArray, Response
from distort.report.figures.axes import frequency_axis, level_axis, set_numbers
from distort.report.figures.labels import Labelled, label_right
from distort.report.figures.response import shown
from distort.report.figures.style import (
    BLACK,
    FILL,
    HIGHEST_HZ,
    LEVEL_DASHES,
    LOWEST_HZ,
    SETTINGS,
    Legend,
    level_colour,
    new_sheet,
    note,
)
from distort.report.text.numbers import level_name

if TYPE_CHECKING:
    from matplotlib.figure import Figure

BOTTOM_DB = -10.0
SPANS_DB = (100.0, 150.0, 200.0)
QUALITY_NOTE = """Labels are nominal levels. In the grey
ground a reading is less than 10 dB
clear of noise, and is marked in the
tables. Distortion has less to stand on
by as much as it is weaker."""


def margin_db(response: Response) -> FloatArray:
    """The response less its noise floor in dB, `(rows,)`; NaN where either is not known or not drawn."""
    return np.asarray(shown(response) - response.noise_db)


def has_margin(responses: Mapping[float, Response]) -> bool:
    """Whether the noise of any recording is known and not nothing."""
    return any(bool(np.isfinite(margin_db(one)).any()) for one in responses.values())


def margin_span_db(responses: Sequence[Response]) -> float:
    """Length of the axis in dB, the same for all `responses`: the shortest that shows every margin."""
    known = [float(np.nanmax(margin)) for one in responses if np.isfinite(margin := margin_db(one)).any()]
    needed = max(known, default=0.0) + 3.0 - BOTTOM_DB
    return next((span for span in SPANS_DB if span >= needed), SPANS_DB[-1])


def quality_figure(responses: Mapping[float, Response], legend: Legend, *, span_db: float | None = None) -> "Figure":
    """Draw the margin of each nominal level (the keys, dB SPL); `span_db` as `margin_span_db` gives it.

    Raises ValueError when no noise is known.
    """
    from matplotlib import rc_context

    if not has_margin(responses):
        raise ValueError("a figure of the recordings' noise needs a recording whose noise is known")
    levels = sorted(responses)
    with rc_context(SETTINGS):
        figure, axes = new_sheet(legend, "response above the noise of its recording, at each level")
        frequency_axis(axes)
        span = margin_span_db(list(responses.values())) if span_db is None else span_db
        level_axis(axes, "Signal to noise in dB", top_db=BOTTOM_DB + span, span_db=span)
        set_numbers(axes.yaxis, np.arange(BOTTOM_DB, BOTTOM_DB + span + 1.0, 10.0))
        axes.fill_between([LOWEST_HZ, HIGHEST_HZ], BOTTOM_DB, CLEAR_OF_NOISE_DB, color=FILL, linewidth=0.0, zorder=0.5)
        axes.axhline(0.0, color=BLACK, linewidth=0.9, zorder=1.5)
        curves = []
        for index, level in enumerate(levels):
            colour, response = level_colour(index, len(levels)), responses[level]
            dashes = LEVEL_DASHES[(len(levels) - 1 - index) % len(LEVEL_DASHES)]
            margin = margin_db(response)
            axes.plot(response.frequency_hz, margin, color=colour, linestyle=dashes, linewidth=1.8)
            name = f"{level_name(level)} dB"
            curves.append(Labelled(name=name, colour=colour, frequency_hz=response.frequency_hz, level_db=margin))
        label_right(axes, curves)
        note(figure, QUALITY_NOTE)
    return figure
