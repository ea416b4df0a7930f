"""The live charts of distortion: THD at every level, and each order by itself."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from distort.analysis.common.curves import FloatArray, Harmonics, Order
from distort.report.figures.harmonics import distortion_top_db
from distort.report.figures.style import BLACK, FILL, ORDER_COLOURS, QUIET
from distort.report.page.chart_data import Chart, Facet, Scale, Series
from distort.report.page.chart_styles import CONDITION_DASHES, ORDER_LINES
from distort.report.page.colours import level_colour
from distort.report.page.facets import Conditions, ascending, facets
from distort.report.text.numbers import level_name
from distort.report.text.tables_sweep import UNIT_NAMES, thd_marks

FLOOR = "noise floor"

MOST_SWEEPS = 60
"""Of more than these the page has orders 2 to 5 alone, without intervals and none referred to the input: what is left
out is in the tables."""


def _everything(conditions: Conditions) -> list[Harmonics]:
    return [each for results in conditions for each in results.harmonics]


def _levels(conditions: Conditions) -> tuple[float, ...]:
    return ascending([level for results in conditions for level in results.levels_db_spl])


def _ratios(top_db: float) -> tuple[Scale, Scale]:
    return (
        Scale(name="dB", label="Re the fundamental in dB", unit="dB", low=top_db - 100.0, high=top_db),
        Scale(
            name="per cent",
            label="Per cent of the fundamental",
            unit="%",
            low=0.001,
            high=100.0 * 10.0 ** (top_db / 20.0),
            logarithmic=True,
            made="percent",
        ),
    )


def thd_chart(conditions: Conditions) -> Chart:
    """Colour says which level, dashes which condition, as in the chart of the response."""
    everything, levels = _everything(conditions), _levels(conditions)
    series = []
    for place, results in enumerate(conditions):
        for level, each in zip(results.levels_db_spl, results.harmonics, strict=True):
            careful, below = thd_marks(each)
            series.append(
                Series(
                    at=(place, levels.index(level)),
                    name=f"{results.findings.condition}, {level_name(level)} dB",
                    colour=level_colour(levels.index(level), len(levels)),
                    dashes=CONDITION_DASHES[place % len(CONDITION_DASHES)],
                    values=(each.thd_db, None),
                    careful=careful,
                    below=below,
                )
            )
    return Chart(
        kind="thd",
        title="Total harmonic distortion",
        frequency_hz=everything[0].frequency_hz,
        quantities=_ratios(distortion_top_db(everything)),
        facets=facets(conditions, levels, everything=True),
        series=tuple(series),
    )


def harmonics_chart(conditions: Conditions) -> Chart:
    """Colour and dashes say which order, dots which condition, the width which level."""
    everything, levels = _everything(conditions), _levels(conditions)
    many = len(everything) > MOST_SWEEPS
    there = sorted({order.order for each in everything for order in each.orders})
    orders = [number for number in there if number in ORDER_COLOURS or not many]
    with_input = not many and any(
        np.isfinite(order.equivalent_input_db).any() for each in everything for order in each.orders
    )
    series: list[Series] = []
    fundamentals: list[FloatArray] = []
    for place, results in enumerate(conditions):
        for level, each in zip(results.levels_db_spl, results.harmonics, strict=True):
            at, said = (place, levels.index(level)), f"{level_name(level)} dB"
            name = f"{results.findings.condition}, {said}" if len(conditions) > 1 else said
            width = 2.2 - 1.2 * (len(levels) - 1 - levels.index(level)) / max(len(levels), 1)
            fundamentals.append(each.fundamental_db)
            made = _of_one(each, at, name, orders=orders, width=width)
            own = (_with_input(one, with_input, len(fundamentals) - 1) for one in made)
            series += (replace(one, interval=None) for one in own) if many else own
    return Chart(
        kind="harmonics",
        title="Harmonic distortion",
        frequency_hz=everything[0].frequency_hz,
        quantities=_scales(everything, with_input=with_input),
        facets=(*facets(conditions, levels, everything=False), _curves(orders)),
        series=tuple(series),
        fundamentals=tuple(fundamentals),
    )


def _curves(orders: Sequence[int]) -> Facet:
    options = ("THD", *(f"H{number}" for number in orders), FLOOR)
    first = tuple(index for index, number in enumerate((0, *orders)) if number in (0, *ORDER_COLOURS))
    return Facet(name="Curves", choice="many", options=options, chosen=(*first, len(options) - 1))


def _scales(everything: Sequence[Harmonics], *, with_input: bool) -> tuple[Scale, ...]:
    top_db, unit = distortion_top_db(everything), UNIT_NAMES[everything[0].unit]
    loudest = max(float(np.nanmax(each.fundamental_db)) for each in everything)
    top_level_db = 10.0 * float(np.ceil((loudest + 3.0) / 10.0))
    level = Scale(
        name=unit, label=f"Level in {unit}", unit=unit, low=top_level_db - 100.0, high=top_level_db, made="level"
    )
    at_input = Scale(
        name="equivalent input", label="Equivalent input in dB", unit="dB", low=top_db - 100.0, high=top_db
    )
    return (*_ratios(top_db), level, *([at_input] if with_input else []))


def _with_input(one: tuple[Series, FloatArray | None], with_input: bool, fundamental: int) -> Series:
    """A series with as many quantities as the chart has."""
    series, at_input_db = one
    nothing = np.full_like(series.values[0], np.nan) if series.values[0] is not None else None
    last = (nothing if at_input_db is None else at_input_db,) if with_input else ()
    return replace(series, values=(*series.values, None, None, *last), fundamental=fundamental)


def _of_one(
    each: Harmonics, at: tuple[int, int], name: str, *, orders: Sequence[int], width: float
) -> Iterator[tuple[Series, FloatArray | None]]:
    """THD, the orders and the floor of one level re the fundamental, each with what it is referred to the input."""
    careful, below = thd_marks(each)
    yield (
        Series(
            at=(*at, 0),
            name=f"{name}: THD",
            colour=BLACK,
            width=1.6 * width,
            dots=at[0],
            values=(each.thd_db,),
            careful=careful,
            below=below,
        ),
        None,
    )
    for order in each.orders:
        if order.order in orders:
            yield _of_order(order, at, name, place=orders.index(order.order), width=width), order.equivalent_input_db
    floors = np.stack([order.noise_db for order in each.orders if order.order in ORDER_COLOURS])
    known = np.isfinite(floors).any(axis=0)
    if known.any():
        floor_db = np.where(known, np.where(np.isfinite(floors), floors, -np.inf).max(axis=0), np.nan)
        yield (
            Series(at=(*at, len(orders) + 1), name=f"{name}: {FLOOR}", colour=FILL, ground=True, values=(floor_db,)),
            None,
        )


def _of_order(order: Order, at: tuple[int, int], name: str, *, place: int, width: float) -> Series:
    prominent = order.order in ORDER_COLOURS
    return Series(
        at=(*at, place + 1),
        name=f"{name}: H{order.order}",
        colour=ORDER_COLOURS.get(order.order, QUIET),
        dashes=ORDER_LINES.get(order.order, ()),
        width=width if prominent else 0.8,
        dots=at[0],
        values=(order.relative_db,),
        careful=order.doubtful,
        below=order.relative_db < order.noise_db,
        interval=order.uncertainty_db if prominent else None,
    )
