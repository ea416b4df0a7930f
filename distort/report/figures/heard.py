"""Music, what a loudspeaker adds to it or takes from it, and where that stands above what the music masks."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.hearing.over_masked import OverMasked
from distort.processes import other_processes
from distort.report.figures.saving import png_of
from distort.report.figures.style import GREY, SETTINGS, SHEET_INCHES, SMALL_POINTS, Legend, new_page
from distort.report.text.heard import level_words, source_words
from distort.report.text.numbers import hertz
from distort.session.results.heard_files import Heard

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SPAN_DB = 60.0
"""Of the colours of levels, down from the loudest of the music."""

OVER_SPAN_DB = 20.0
"""Of the colours of margins, either way."""

LEFT, RIGHT, GAP = 0.85, 11.35, 0.75
"""Inches from the left edge of the sheet: where panels begin and end; and between two side by side."""

HZ_NAMED = (63.0, 250.0, 1000.0, 4000.0, 16000.0)


def heard_figure(record: Heard, masked: OverMasked) -> "Figure":
    """Music and remainder side by side in the same colours, and below the remainder over the masked threshold."""
    from matplotlib import rc_context

    legend = Legend(
        loudspeaker=f"{record.loudspeaker}, {record.condition}",
        simulated=record.simulated,
        credit=f"Music: {record.credit}" if record.credit else None,
        stimulus=f"{source_words(record)}; third octaves in frames of 0.1 s; white: {OVER_SPAN_DB:g} dB or more "
        "below what is masked, or below the noise",
    )
    unit = "dB re full scale" if record.full_scale_db_spl is None else "dB SPL at 1 m"
    with rc_context(SETTINGS):
        figure = new_page(legend, f"What becomes of music at {level_words(record)}, {record.source}")
        width = (RIGHT - LEFT - GAP) / 2.0
        top_db = float(np.ceil(np.max(masked.music_db) / 5.0) * 5.0)
        scale = {"vmin": top_db - SPAN_DB, "vmax": top_db}
        for index, (name, level_db) in enumerate(
            (("The music as meant", masked.music_db), ("The remainder: added or taken away", masked.remainder_db))
        ):
            axes = _panel(figure, (LEFT + index * (width + GAP), 3.95, width, 2.2), name)
            drawn = _map(axes, masked, level_db, **scale)
        _colours(figure, drawn, (3.95, 2.2), unit)
        name = f"The remainder re what the music masks; {_above(masked)}"
        axes = _panel(figure, (LEFT, 0.95, RIGHT - LEFT, 2.2), name)
        over_db = np.where(masked.over_db > -OVER_SPAN_DB, masked.over_db, np.nan)
        drawn = _map(axes, masked, over_db, vmin=-OVER_SPAN_DB, vmax=OVER_SPAN_DB)
        axes.set_xlabel("Time in s")
        _colours(figure, drawn, (0.95, 2.2), "dB")
    return figure


@contextmanager
def drawn_elsewhere() -> Iterator[Callable[[Heard, OverMasked], Callable[[], bytes]]]:
    """Another process that draws such figures: what is yielded begins one, and returns what waits for its PNG."""
    with other_processes(1) as pool:
        pool.submit(_get_ready)
        yield lambda record, masked: pool.submit(_heard_png, record, masked).result


def _get_ready() -> None:
    """Load what draws before the first figure comes."""
    import matplotlib.backends.backend_agg
    import matplotlib.figure  # noqa: F401


def _heard_png(record: Heard, masked: OverMasked) -> bytes:
    return png_of(heard_figure(record, masked))


def _above(masked: OverMasked) -> str:
    """Whether anything is: colours alone do not say it."""
    over_db, _, _ = masked.highest
    return (
        f"over 0 dB it stands above: up to {over_db:.0f} dB"
        if over_db > 0.0
        else "over 0 dB it would stand above, and does so nowhere"
    )


def _panel(figure: "Figure", inches: tuple[float, float, float, float], name: str) -> "Axes":
    width, height = SHEET_INCHES
    left, bottom, wide, high = inches
    axes = figure.add_axes((left / width, bottom / height, wide / width, high / height))
    axes.set_title(name, fontsize=10.0, loc="left")
    axes.set_ylabel("Frequency in Hz")
    return axes


def _map(axes: "Axes", masked: OverMasked, values: Any, *, vmin: float, vmax: float) -> Any:
    """Third octaves upwards, time to the right; pale to dark, low to high."""
    bands, frames = masked.frequency_hz, masked.time_s
    half_s = 0.5 * float(frames[1] - frames[0]) if frames.size > 1 else 0.05
    span = (float(frames[0]) - half_s, float(frames[-1]) + half_s, -0.5, bands.size - 0.5)
    drawn = axes.imshow(
        values,
        cmap="viridis_r",
        vmin=vmin,
        vmax=vmax,
        extent=span,
        origin="lower",
        aspect="auto",
        interpolation="nearest",
    )
    named = [one for one in HZ_NAMED if bands[0] / 1.1 <= one <= bands[-1] * 1.1]
    axes.set_yticks(
        [float(np.interp(np.log(one), np.log(bands), np.arange(bands.size))) for one in named], list(map(hertz, named))
    )
    return drawn


def _colours(figure: "Figure", drawn: Any, at: tuple[float, float], unit: str) -> None:
    width, height = SHEET_INCHES
    axes = figure.add_axes(((RIGHT + 0.15) / width, at[0] / height, 0.15 / width, at[1] / height))
    figure.colorbar(drawn, cax=axes)
    axes.tick_params(labelsize=SMALL_POINTS)
    figure.text(
        (RIGHT + 0.15) / width, (at[0] + at[1] + 0.12) / height, unit, fontsize=SMALL_POINTS, color=GREY, va="center"
    )
