"""Dips of the response in figures of distortion: a peak there is not the loudspeaker's, as the fundamental is lower."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from distort.analysis.anomalies.anomaly import Anomaly
from distort.report.figures.style import GREY, halo, note
from distort.report.text.findings import letter

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

HATCH: dict[str, Any] = {"facecolor": "none", "edgecolor": "#bdbdbd", "hatch": "////", "linewidth": 0.0, "zorder": 0.6}
"""A hatch rather than a ground: grey grounds are noise floors."""

DIP_NOTE = """Hatched: a dip of the response (letter).
The fundamental is lower there, so that
distortion re the fundamental rises
even if no more of it is generated."""

MOST_MARKED = 6
"""Dips that are hatched, from the first on: more would hide the curves."""


def dips_among(anomalies: Sequence[Anomaly]) -> tuple[Anomaly, ...]:
    """Those of `anomalies` that are dips, as many as are marked."""
    return tuple(one for one in anomalies if one.kind == "dip")[:MOST_MARKED]


def mark_dips(axes: "Axes", dips: Sequence[Anomaly]) -> None:
    """Hatch the band of each dip over the whole height, with its letter at the upper edge."""
    for one in dips:
        axes.axvspan(one.low_hz, one.high_hz, gid="dip", **HATCH)
        label = axes.text(
            one.frequency_hz,
            0.985,
            letter(one.number),
            transform=axes.get_xaxis_transform(),
            ha="center",
            va="top",
            color=GREY,
            weight="bold",
            gid="dip",
            clip_on=True,
        )
        halo(label)


SHORT_CARE = "Thin, circles: use with caution."
SHORT_DIPS = "Hatched: dips of the response."


def note_with_dips(figure: "Figure", text: str, dips: Sequence[Anomaly]) -> None:
    """A note on curves that are to be used with caution, and what the hatch means where there is any."""
    if dips:
        note(figure, f"{text}\n{DIP_NOTE}", short=f"{SHORT_CARE} {SHORT_DIPS}")
    else:
        note(figure, text, short=SHORT_CARE)
