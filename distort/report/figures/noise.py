"""Noise that came with the sound, one curve a level, over that of the silence."""

from typing import TYPE_CHECKING

import numpy as np

from distort.analysis.level_noise import NoiseResult
from distort.report.figures.axes import frequency_axis, level_axis
from distort.report.figures.multitone import steps_hz, twice
from distort.report.figures.response import AXIS_LABELS
from distort.report.figures.style import (
    FILL,
    LEVEL_DASHES,
    SETTINGS,
    Legend,
    key_beside,
    level_colour,
    new_sheet,
    note,
)
from distort.report.text.numbers import level_name

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SPAN_DB = 50.0

NOTE = """Each step is a third octave; hum is
left out. Grey: the noise of the silence.
Where a curve is missing, nothing is told
from it. Distortion is in none of these."""


def noise_figure(result: NoiseResult, legend: Legend) -> "Figure":
    """Draw every level that shows some noise. Raises ValueError when none does."""
    from matplotlib import rc_context
    from matplotlib.patches import Patch

    if not has_noise(result):
        raise ValueError("a figure of noise that comes with level needs some")
    with rc_context(SETTINGS):
        figure, axes = new_sheet(legend, "noise that comes with level")
        frequency_axis(axes)
        every = [result.silence_db, *(level.noise_db for level in result.levels)]
        top_db = float(np.ceil((np.nanmax(np.concatenate(every)) + 3.0) / 5.0) * 5.0)
        level_axis(axes, f"{AXIS_LABELS[result.unit]}, per third octave", top_db=top_db, span_db=SPAN_DB)
        over_hz = steps_hz(result.frequency_hz)
        axes.fill_between(over_hz, top_db - SPAN_DB, twice(result.silence_db), color=FILL, linewidth=0.0, zorder=0.5)
        handles, count = [], len(result.levels)
        for index, level in enumerate(result.levels):
            if np.isfinite(level.noise_db).any():
                handles += axes.plot(
                    over_hz,
                    twice(level.noise_db),
                    color=level_colour(index, count),
                    linestyle=LEVEL_DASHES[(count - 1 - index) % len(LEVEL_DASHES)],
                    linewidth=1.8,
                    label=f"at {level_name(level.level_db_spl)} dB",
                )
        names = [str(line.get_label()) for line in handles]
        key_beside(figure, [*handles, Patch(color=FILL)], [*names, "silence"])
        note(figure, NOTE)
    return figure


def has_noise(result: NoiseResult) -> bool:
    """Whether there is something to draw: two third octaves of a level, since one alone may be chance."""
    return any(np.count_nonzero(np.isfinite(level.noise_db)) > 1 for level in result.levels)
