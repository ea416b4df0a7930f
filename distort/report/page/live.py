"""The live part of the page: where charts stand, their data, and the scripts that draw them."""

import json
from collections.abc import Sequence
from importlib.resources import files

from distort.report.page.chart_data import Chart, plain_chart
from distort.report.page.markup import Markup, element, markup

LIBRARY = "uPlot.iife.min.js"
"""uPlot 1.6.32, MIT licence (uPlot.LICENSE), as npm serves it; draws curves on a canvas."""


def asset(name: str) -> str:
    """A file that ships with the page."""
    return files("distort.report.page").joinpath("assets", name).read_text(encoding="utf-8")


def chart_places(charts: Sequence[Chart]) -> dict[str, Markup]:
    """For each kind of figures the places of its charts, hidden until a script fills them."""
    places: dict[str, Markup] = {}
    for index, chart in enumerate(charts):
        place = element("div", class_="live", data_chart=str(index), hidden=True)
        places[chart.kind] = markup([places.get(chart.kind, Markup("")), place])
    return places


def scripts(charts: Sequence[Chart]) -> Markup:
    """The charts' data, the library under its licence, and what joins them; the last thing in the body."""
    data = json.dumps(
        [plain_chart(chart) for chart in charts], ensure_ascii=False, allow_nan=False, separators=(",", ":")
    )
    licence = asset("uPlot.LICENSE").replace("*/", "* /")
    return markup(
        [
            element("script", Markup(script_safe(data)), type="application/json", id="chart-data"),
            element("script", Markup(f"/*!\n{licence}\n*/\n{asset(LIBRARY)}")),
            element("script", Markup(asset("page.js"))),
        ]
    )


def script_safe(text: str) -> str:
    """JSON that cannot end the script it stands in, nor begin a comment there (HTML Living Standard, 4.12.1.3)."""
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
