"""The live chart of the frequency response: one curve a condition and level."""

from distort.report.figures.response import AXIS_LABELS, response_limits, shown
from distort.report.page.chart_data import Chart, Scale, Series
from distort.report.page.chart_styles import CONDITION_DASHES
from distort.report.page.colours import level_colour
from distort.report.page.facets import Conditions, ascending, facets
from distort.report.text.numbers import level_name
from distort.report.text.tables_sweep import UNIT_NAMES


def response_chart(conditions: Conditions) -> Chart:
    """Colour says which level, dashes which condition."""
    everything = [response for results in conditions for response in results.responses]
    levels = ascending([level for results in conditions for level in results.levels_db_spl])
    top_db, span_db = response_limits(everything)
    unit = everything[0].unit
    return Chart(
        kind="response",
        title="Frequency response",
        frequency_hz=everything[0].frequency_hz,
        quantities=(
            Scale(name="Level", label=AXIS_LABELS[unit], unit=UNIT_NAMES[unit], low=top_db - span_db, high=top_db),
        ),
        facets=facets(conditions, levels, everything=True),
        series=tuple(
            Series(
                at=(place, levels.index(level)),
                name=f"{results.findings.condition}, {level_name(level)} dB",
                colour=level_colour(levels.index(level), len(levels)),
                dashes=CONDITION_DASHES[place % len(CONDITION_DASHES)],
                values=(shown(response),),
            )
            for place, results in enumerate(conditions)
            for level, response in zip(results.levels_db_spl, results.responses, strict=True)
        ),
    )
