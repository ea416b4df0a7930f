"""The response figure: one curve a level, in dB SPL at 1 m, with the noise floor beneath."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from distort.analysis.common.curves import FloatArray, Response
from distort.report.figures.axes import frequency_axis, level_axis
from distort.report.figures.labels import Labelled, label_right
from distort.report.figures.style import (
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
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

AXIS_LABELS = {"db_spl": "Level at 1 m in dB re 20 \N{MICRO SIGN}Pa", "dbfs": "Level in dBFS (no calibration)"}
LEVEL_NOTE = """Labels are nominal levels: the level
at 1 m that the drive would give if the
loudspeaker stayed as it is when played
quietly. The curves show what it gave."""
HEADROOM_DB = 3.0


def response_limits(responses: Sequence[Response]) -> tuple[float, float]:
    """Top and span of the level axis, dB, the same for all `responses`: 50 dB where that shows them, else 100.

    The top lies on a multiple of 5 (span 50) or 10 (span 100), at least 3 dB above the highest reading.
    """
    highest = max(float(np.nanmax(shown(response))) for response in responses)
    quietest_middle = min(float(np.nanmedian(shown(response))) for response in responses)
    span = 50.0 if highest - quietest_middle <= 35.0 else 100.0  # leaves 12 dB below for roll-off and dips
    return float(np.ceil((highest + HEADROOM_DB) / (span / 10.0)) * span / 10.0), span


def shown(response: Response) -> FloatArray:
    """Readings that are drawn, `(rows,)`: NaN outside the axis and below the lowest valid frequency."""
    frequency = response.frequency_hz
    inside = (frequency >= max(LOWEST_HZ * 0.997, response.lowest_valid_hz)) & (frequency <= HIGHEST_HZ)
    return np.where(inside, response.level_db, np.nan)


def response_figure(
    responses: Mapping[float, Response], legend: Legend, *, limits: tuple[float, float] | None = None
) -> "Figure":
    """Draw the response of each nominal level (the keys, dB SPL); `limits` as `response_limits` gives them.

    Raises ValueError when there is nothing to draw.
    """
    from matplotlib import rc_context

    if not responses:
        raise ValueError("a response figure needs at least one response")
    levels = sorted(responses)
    top_db, span_db = limits or response_limits(list(responses.values()))
    with rc_context(SETTINGS):
        figure, axes = new_sheet(legend, "frequency response at each level")
        frequency_axis(axes)
        level_axis(axes, AXIS_LABELS[responses[levels[0]].unit], top_db=top_db, span_db=span_db)
        _noise(axes, responses)
        for index, level in enumerate(levels):
            response = responses[level]
            axes.plot(
                response.frequency_hz,
                shown(response),
                color=level_colour(index, len(levels)),
                linestyle=LEVEL_DASHES[(len(levels) - 1 - index) % len(LEVEL_DASHES)],
                linewidth=1.8,
                label=f"{level_name(level)} dB",
            )
        label_right(
            axes,
            [
                Labelled(
                    name=f"{level_name(level)} dB",
                    colour=level_colour(index, len(levels)),
                    frequency_hz=responses[level].frequency_hz,
                    level_db=shown(responses[level]),
                )
                for index, level in enumerate(levels)
            ],
        )
        note(figure, LEVEL_NOTE, short="Labels are nominal levels at 1 m.")
    return figure


def _noise(axes: "Axes", responses: Mapping[float, Response]) -> None:
    """The highest noise floor of all levels, where it rises into the picture."""
    first = next(iter(responses.values()))
    floors = np.stack([response.noise_db for response in responses.values()])
    known = np.isfinite(floors).any(axis=0)
    highest = np.where(known, np.where(np.isfinite(floors), floors, -np.inf).max(axis=0), np.nan)
    bottom = axes.get_ylim()[0]
    if not np.any(highest[known] > bottom):
        return
    axes.fill_between(first.frequency_hz, bottom, highest, color=FILL, linewidth=0.0, zorder=0.5, label="noise floor")
