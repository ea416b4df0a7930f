"""The live charts of a session: response, harmonics, multitones, compression, on the scales of the printed figures."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from distort.analysis.common.curves import FloatArray, Harmonics, Order
from distort.analysis.common.grid import band_edges_hz
from distort.analysis.multitone.curves import MultitoneBands
from distort.report.figures.compression import change_limits
from distort.report.figures.harmonics import distortion_top_db
from distort.report.figures.multitone import multitone_top_db
from distort.report.figures.response import AXIS_LABELS, response_limits, shown
from distort.report.figures.style import BLACK, FILL, GREY, ORDER_COLOURS, QUIET, level_colour
from distort.report.page.chart_data import Chart, Facet, Scale, Series, merged, onto
from distort.report.text.multitone_bands import Part, third_octaves
from distort.report.text.numbers import hertz_words, level_name
from distort.report.text.tables_sweep import UNIT_NAMES, thd_marks
from distort.session.results.condition_results import ConditionResults

CONDITION_DASHES: tuple[tuple[float, ...], ...] = ((), (7.0, 3.0), (2.0, 3.0), (8.0, 3.0, 2.0, 3.0))
"""Which condition, where colour says which level."""

ORDER_LINES: dict[int, tuple[float, ...]] = {2: (), 3: (8.0, 3.0), 4: (6.0, 2.0, 2.0, 2.0), 5: (3.0, 2.0)}
FLOOR = "noise floor"

Conditions = Sequence[ConditionResults]


def session_charts(conditions: Conditions) -> tuple[Chart, ...]:
    """Every chart there is something for."""
    charts = [_response(conditions), _harmonics(conditions)]
    if any(results.multitones for results in conditions):
        charts.append(_multitone(conditions))
    for source in ("sweep", "multitone"):
        if any(one.source == source and len(one.level_db_spl) > 1 for each in conditions for one in each.changes):
            charts.append(_compression(conditions, source))
    return tuple(charts)


def _names(conditions: Conditions) -> tuple[str, ...]:
    return tuple(results.findings.condition for results in conditions)


def _levels(levels: Sequence[float]) -> tuple[float, ...]:
    return tuple(sorted(set(levels)))


def _facets(conditions: Conditions, levels: Sequence[float], *, one_condition: bool) -> tuple[Facet, Facet]:
    names = _names(conditions)
    return (
        Facet(
            name="Condition",
            choice="one" if one_condition else "many",
            options=names,
            chosen=(0,) if one_condition else tuple(range(len(names))),
        ),
        Facet(
            name="Level",
            choice="many",
            options=tuple(f"{level_name(level)} dB" for level in levels),
            chosen=(len(levels) - 1,) if one_condition else tuple(range(len(levels))),
        ),
    )


def _response(conditions: Conditions) -> Chart:
    everything = [response for results in conditions for response in results.responses]
    levels = _levels([level for results in conditions for level in results.levels_db_spl])
    top_db, span_db = response_limits(everything)
    unit = everything[0].unit
    return Chart(
        kind="response",
        title="Frequency response",
        frequency_hz=everything[0].frequency_hz,
        quantities=(
            Scale(name="Level", label=AXIS_LABELS[unit], unit=UNIT_NAMES[unit], low=top_db - span_db, high=top_db),
        ),
        facets=_facets(conditions, levels, one_condition=False),
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


def _harmonics(conditions: Conditions) -> Chart:
    everything = [each for results in conditions for each in results.harmonics]
    levels = _levels([level for results in conditions for level in results.levels_db_spl])
    orders = sorted({order.order for each in everything for order in each.orders})
    options = ("THD", *(f"order {number}" for number in orders), FLOOR)
    chosen = tuple(index for index, number in enumerate((0, *orders)) if number in (0, *ORDER_COLOURS))
    top_db, unit = distortion_top_db(everything), UNIT_NAMES[everything[0].unit]
    loudest = max(float(np.nanmax(each.fundamental_db)) for each in everything)
    top_level_db = 10.0 * float(np.ceil((loudest + 3.0) / 10.0))
    shown_orders = Facet(name="Curves", choice="many", options=options, chosen=(*chosen, len(options) - 1))
    series: list[Series] = []
    for place, results in enumerate(conditions):
        for level, each in zip(results.levels_db_spl, results.harmonics, strict=True):
            at, name = (place, levels.index(level)), f"{level_name(level)} dB"
            width = 2.2 - 1.2 * (len(levels) - 1 - levels.index(level)) / max(len(levels), 1)
            series += _harmonic_series(each, at, name, orders=orders, width=width)
    return Chart(
        kind="harmonics",
        title="Harmonic distortion",
        frequency_hz=everything[0].frequency_hz,
        quantities=(
            Scale(name="dB", label="Level re the fundamental in dB", unit="dB", low=top_db - 100.0, high=top_db),
            Scale(
                name="per cent",
                label="Per cent of the fundamental",
                unit="%",
                low=0.001,
                high=100.0 * 10.0 ** (top_db / 20.0),
                logarithmic=True,
            ),
            Scale(name=unit, label=f"Level in {unit}", unit=unit, low=top_level_db - 100.0, high=top_level_db),
            Scale(
                name="equivalent input",
                label="Equivalent input in dB re the input",
                unit="dB",
                low=top_db - 100.0,
                high=top_db,
            ),
        ),
        facets=(*_facets(conditions, levels, one_condition=True), shown_orders),
        series=tuple(series),
    )


def _harmonic_series(
    each: Harmonics, at: tuple[int, int], name: str, *, orders: Sequence[int], width: float
) -> list[Series]:
    """THD, every order and the floor of one level, as decibels, per cent, level and equivalent input."""
    nothing = np.full(each.frequency_hz.size, np.nan)
    careful, below = thd_marks(each)
    made = [
        Series(
            at=(*at, 0),
            name=f"{name}: THD",
            colour=BLACK,
            width=1.6 * width,
            values=(each.thd_db, each.thd_percent, each.fundamental_db + each.thd_db, nothing),
            careful=careful,
            below=below,
        )
    ]
    made += [_order_series(order, at, name, place=orders.index(order.order), width=width) for order in each.orders]
    floors = np.stack([order.noise_db for order in each.orders if order.order in ORDER_COLOURS])
    known = np.isfinite(floors).any(axis=0)
    if known.any():
        floor_db = np.where(known, np.where(np.isfinite(floors), floors, -np.inf).max(axis=0), np.nan)
        levels_db = each.fundamental_db + floor_db
        made.append(
            Series(
                at=(*at, len(orders) + 1),
                name=f"{name}: {FLOOR}",
                colour=FILL,
                ground=True,
                values=(floor_db, _percent(floor_db), levels_db, nothing),
            )
        )
    return made


def _order_series(order: Order, at: tuple[int, int], name: str, *, place: int, width: float) -> Series:
    return Series(
        at=(*at, place + 1),
        name=f"{name}: order {order.order}",
        colour=ORDER_COLOURS.get(order.order, QUIET),
        dashes=ORDER_LINES.get(order.order, ()),
        width=width if order.order in ORDER_COLOURS else 0.8,
        values=(order.relative_db, _percent(order.relative_db), order.level_db, order.equivalent_input_db),
        careful=order.doubtful,
        below=order.relative_db < order.noise_db,
    )


def _percent(values_db: FloatArray) -> FloatArray:
    return np.asarray(100.0 * 10.0 ** (values_db / 20.0))


TONE_CURVES = ("lines", "distortion", "even", "odd", "noise")


def _tone_series(bands: MultitoneBands, at: tuple[int, int], name: str, midbands_hz: FloatArray) -> list[Series]:
    """The curves of one multitone over all bands; one more value closes the last band."""
    parts = third_octaves(bands)
    row = np.searchsorted(midbands_hz, bands.frequency_hz)

    def laid(values: npt.ArrayLike) -> FloatArray:
        over = np.full(midbands_hz.size + 1, np.nan)
        over[row] = values
        return over

    level_db = bands.level_db
    curves: tuple[tuple[FloatArray, Part | None, str, tuple[float, ...], float], ...] = (
        (level_db, None, GREY, (), 1.4),
        (level_db + parts.distortion.values_db, parts.distortion, BLACK, (), 3.0),
        (level_db + parts.even.values_db, parts.even, ORDER_COLOURS[2], (), 1.8),
        (level_db + parts.odd.values_db, parts.odd, ORDER_COLOURS[3], ORDER_LINES[3], 1.8),
        (level_db + parts.noise_db, None, FILL, (), 1.0),
    )
    return [
        Series(
            at=(*at, which),
            name=f"{name}: {curve}",
            colour=colour,
            dashes=dashes,
            width=width,
            ground=curve == "noise",
            values=(laid(values),),
            careful=None if part is None else laid(part.doubtful) == 1.0,
            below=None if part is None else laid(part.below) == 1.0,
        )
        for which, (curve, (values, part, colour, dashes, width)) in enumerate(zip(TONE_CURVES, curves, strict=True))
    ]


def _multitone(conditions: Conditions) -> Chart:
    tables = [bands for results in conditions for bands in results.multitones]
    levels = _levels([one.level_db_spl for results in conditions for one in results.findings.multitones])
    midbands_hz = merged([bands.frequency_hz for bands in tables])
    low_hz, high_hz = band_edges_hz(midbands_hz, bands_per_octave=3)
    top_db, unit = multitone_top_db(tables), tables[0].unit
    series: list[Series] = []
    for place, results in enumerate(conditions):
        for found, bands in zip(results.findings.multitones, results.multitones, strict=True):
            at, name = (place, levels.index(found.level_db_spl)), f"{level_name(found.level_db_spl)} dB"
            series += _tone_series(bands, at, name, midbands_hz)
    return Chart(
        kind="multitone",
        title="Many tones at once",
        frequency_hz=np.append(low_hz, high_hz[-1]),
        row_names=tuple(f"{hertz_words(float(each))} third octave" for each in midbands_hz),
        steps=True,
        quantities=(
            Scale(
                name="Level",
                label=f"{AXIS_LABELS[unit]}, per third octave",
                unit=UNIT_NAMES[unit],
                low=top_db - 100.0,
                high=top_db,
            ),
        ),
        facets=(
            *_facets(conditions, levels, one_condition=True),
            Facet(
                name="Curves",
                choice="many",
                options=TONE_CURVES,
                chosen=tuple(range(len(TONE_CURVES))),
            ),
        ),
        series=tuple(series),
    )


def _compression(conditions: Conditions, source: str) -> Chart:
    ladders = [
        (place, curves)
        for place, results in enumerate(conditions)
        for curves in results.changes
        if curves.source == source and len(curves.level_db_spl) > 1
    ]
    top_db, span_db = change_limits([curves for results in conditions for curves in results.changes])
    levels = _levels([level for _, curves in ladders for level in curves.level_db_spl[1:]])
    grid_hz = merged([curves.frequency_hz for _, curves in ladders])
    count = len(levels) + 1  # the reference, which is no curve, has a colour too
    names = _names(conditions)
    return Chart(
        kind="compression",
        title=f"Change of the response with level, from the {source}",
        frequency_hz=grid_hz,
        points=source == "multitone",
        quantities=(
            Scale(name="Change", label="Change of the response in dB", unit="dB", low=top_db - span_db, high=top_db),
        ),
        facets=_facets(conditions, levels, one_condition=False),
        series=tuple(
            Series(
                at=(place, levels.index(level)),
                name=f"{names[place]}, {level_name(level)} dB",
                colour=level_colour(levels.index(level) + 1, count),
                dashes=CONDITION_DASHES[place % len(CONDITION_DASHES)],
                values=(onto(grid_hz, curves.frequency_hz, curves.change_db[row]),),
            )
            for place, curves in ladders
            for row, level in enumerate(curves.level_db_spl)
            if row > 0
        ),
    )
