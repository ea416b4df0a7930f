"""The small picture of a finding: the curves that show it and no others, around its place."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from distort.analysis.common.curves import FloatArray, Harmonics
from distort.analysis.common.quantities import CHANGE, CHANGE_OF_MULTITONE, Quantity, from_findings
from distort.analysis.findings.finding import EvidenceRow, Finding
from distort.analysis.impulsive.impulsive import ImpulsiveResult
from distort.report.figures.response import shown
from distort.report.figures.style import BLACK, GREY, HIGHEST_HZ, LOWEST_HZ, ORDER_COLOURS, QUIET
from distort.report.page.chart_styles import CONDITION_DASHES, ORDER_LINES
from distort.report.page.colours import level_colours
from distort.report.page.plot import Curve, Plot, Size, drawn, limits_of
from distort.report.text.numbers import hertz_words, level_name
from distort.report.text.story import Told
from distort.report.text.tables_sweep import UNIT_NAMES
from distort.session.results.condition_results import ConditionResults
from distort.session.results.ladder_results import ChangeCurves

SIZE = Size(width=360.0, height=190.0, letters=12.5)
"""As wide as the text of a phone 390 px wide. Side by side on a wide screen they shrink by a tenth, and letters still
have 11 px."""

BESIDE_OCTAVES, BESIDE_BAND_OCTAVES = 1.2, 0.5
"""Shown to either side of a place, and of a band."""

MOST_ORDERS, MOST_CURVES = 2, 5

LEAST_Z = 1.0
"""Of what stands out, deviations of noise: less is drawn as this."""

LEAST_DB, LEAST_CHANGE_DB = 20.0, 1.0
"""Lengths of the axes at least: ripple looks small beside a rise that is a finding (own choice)."""


@dataclass(frozen=True, kw_only=True)
class Panel:
    """One picture with its key above it."""

    quantity: str
    key: tuple[Curve, ...]
    picture: Markup


def panels(one: Told, conditions: Sequence[ConditionResults]) -> tuple[Panel, ...]:
    """The panels of a finding, from top to bottom; none where no curve is there to show it. A level has the colour that
    it has in the pictures of the response."""
    results = next(each for each in conditions if each.findings.condition == one.conditions[0])
    without = [each for each in conditions if each.findings.condition in one.not_in]
    if "standing_out" in one.finding.numbers:
        return tuple(_strikes(one, results, level_colours(conditions)))
    row = one.finding.leading_row
    quantity = None if row is None else from_findings(row.quantity)
    if row is not None and quantity is not None and quantity.name == "change":
        return tuple(_changes(one, results, quantity, level_colours(conditions)))
    if row is not None and quantity is not None and quantity.name in ("even", "odd"):
        return tuple(_tones(one, results, row))
    return tuple(_orders(one, results, row, without=without[:1] if one.belongs_to == "set-up" else []))


def range_of(finding: Finding) -> tuple[float, float]:
    """Frequencies that its picture shows."""
    beside = 2.0 ** (BESIDE_BAND_OCTAVES if finding.broad else BESIDE_OCTAVES)
    low_hz = min(min(place.low_hz, place.frequency_hz) for place in finding.places) / beside
    high_hz = max(max(place.high_hz, place.frequency_hz) for place in finding.places) * beside
    return max(low_hz, LOWEST_HZ), min(high_hz, HIGHEST_HZ)


def _panel(
    one: Told, quantity: str, curves: Sequence[Curve], *, zero: bool = False, least_db: float = LEAST_DB
) -> Panel:
    low_hz, high_hz = range_of(one.finding)
    low, high = limits_of(curves, low_hz, high_hz, least=least_db)
    names = "; ".join(curve.name for curve in curves)
    plot = Plot(
        says=f"{quantity} from {hertz_words(low_hz)} to {hertz_words(high_hz)}: {names}. {one.finding.headline}",
        curves=tuple(_cut(curve, low_hz, high_hz) for curve in curves),
        low_hz=low_hz,
        high_hz=high_hz,
        low=low,
        high=max(high, 0.1) if zero else high,
        bands=tuple((place.low_hz, place.high_hz) for place in one.finding.places),
        zero=zero,
    )
    return Panel(quantity=quantity, key=tuple(curves), picture=drawn(plot, SIZE))


def _cut(curve: Curve, low_hz: float, high_hz: float) -> Curve:
    """What of a curve lies in the range."""
    inside = (curve.frequency_hz >= 0.999 * low_hz) & (curve.frequency_hz <= 1.001 * high_hz)
    return Curve(
        frequency_hz=curve.frequency_hz[inside],
        values=curve.values[inside],
        colour=curve.colour,
        dashes=curve.dashes,
        width=curve.width,
        name=curve.name,
        careful=None if curve.careful is None else curve.careful[inside],
    )


def _level_index(results: ConditionResults, row: EvidenceRow | None, finding: Finding) -> int:
    """Of the level that shows a finding best; the loudest where nothing says."""
    level = row.level_db_spl if row is not None else finding.numbers.get("level_db_spl")
    levels = results.levels_db_spl
    return levels.index(level) if level in levels else len(levels) - 1


def _orders(
    one: Told, results: ConditionResults, row: EvidenceRow | None, *, without: Sequence[ConditionResults]
) -> list[Panel]:
    """The response above, the orders that rise beneath."""
    if not results.levels_db_spl:
        return []
    index = _level_index(results, row, one.finding)
    level = results.levels_db_spl[index]
    response, harmonics = results.responses[index], results.harmonics[index]
    numbers = _orders_shown(one.finding, level, harmonics)
    name = f"response at {level_name(level)} dB"
    named = f"{results.findings.condition}: {name}" if without else name
    curves = [Curve(frequency_hz=response.frequency_hz, values=shown(response), colour=BLACK, name=named)]
    for other in without:
        if level in other.levels_db_spl:
            beside = other.responses[other.levels_db_spl.index(level)]
            curves.append(
                Curve(
                    frequency_hz=beside.frequency_hz,
                    values=shown(beside),
                    colour=GREY,
                    dashes=CONDITION_DASHES[1],
                    width=1.5,
                    name=f"{other.findings.condition}: {name}",
                )
            )
    if one.finding.explanation == "product-on-peak" and numbers:
        curves.append(_where_heard(response.frequency_hz, shown(response), numbers[0]))
    below = [_order_curve(harmonics, number, level) for number in numbers]
    found = [_panel(one, f"Response, {UNIT_NAMES[response.unit]}", curves)]
    if below:
        found.append(_panel(one, "Distortion re the fundamental, dB", below))
    return found


def _orders_shown(finding: Finding, level: float, harmonics: Harmonics) -> list[int]:
    """The orders that rise most of those that speak for a finding at a level, at most two."""
    rises: dict[int, float] = {}
    for row in finding.evidence:
        number = from_findings(row.quantity).order
        if number is None or row.level_db_spl != level or row.speaks != "for":
            continue
        rises[number] = max(rises.get(number, -np.inf), abs(row.rise_db))
    there = {order.order for order in harmonics.orders}
    strongest = sorted((number for number in rises if number in there), key=lambda number: -rises[number])
    if not strongest and (leading := finding.leading_row) is not None:
        number = from_findings(leading.quantity).order
        strongest = [number] if number is not None and number in there else []
    return strongest[:MOST_ORDERS]


def _order_curve(harmonics: Harmonics, number: int, level: float) -> Curve:
    order = next(each for each in harmonics.orders if each.order == number)
    above_floor = ~(order.relative_db < order.noise_db)
    return Curve(
        frequency_hz=harmonics.frequency_hz,
        values=np.where(above_floor, order.relative_db, np.nan),
        colour=ORDER_COLOURS.get(number, QUIET),
        dashes=ORDER_LINES.get(number, (1.0, 3.0)),
        name=f"H{number} at {level_name(level)} dB",
        careful=np.asarray(order.doubtful),
    )


def _where_heard(frequency_hz: FloatArray, level_db: FloatArray, number: int) -> Curve:
    """The response at n f, drawn at f: there the harmonic comes out."""
    moved = np.interp(np.log(number * frequency_hz), np.log(frequency_hz), level_db, right=np.nan)
    return Curve(
        frequency_hz=frequency_hz,
        values=moved,
        colour=GREY,
        dashes=(2.0, 3.0),
        width=1.5,
        name=f"response at {number}\u00b7f, where H{number} comes out",
    )


def _changes(one: Told, results: ConditionResults, quantity: Quantity, colours: Mapping[float, str]) -> list[Panel]:
    """The change with level of every source that speaks for a finding, the leading one first."""
    wanted = [quantity.stimulus]
    for row in one.finding.evidence:
        other = from_findings(row.quantity)
        inside = one.finding.places[0].low_hz <= row.frequency_hz <= one.finding.places[0].high_hz
        if other in (CHANGE, CHANGE_OF_MULTITONE) and row.speaks == "for" and inside and other.stimulus not in wanted:
            wanted.append(other.stimulus)
    ladders = [curves for source in wanted for curves in results.changes if curves.source == source]
    ladders = [curves for curves in ladders if len(curves.levels) > 1]
    return [
        _panel(
            one,
            f"Change re {level_name(curves.level_db_spl[0])} dB SPL, {curves.source}, dB",
            _change_curves(curves, colours),
            zero=True,
            least_db=LEAST_CHANGE_DB,
        )
        for curves in ladders
    ]


def _change_curves(curves: ChangeCurves, colours: Mapping[float, str]) -> list[Curve]:
    count = len(curves.levels)
    loudest = list(range(1, count))[::-1][:MOST_CURVES]
    return [
        Curve(
            frequency_hz=curves.frequency_hz,
            values=curves.change_db[index],
            colour=colours[curves.level_db_spl[index]],
            dashes=() if (count - 1 - index) % 2 == 0 else CONDITION_DASHES[1],
            name=f"{level_name(curves.level_db_spl[index])} dB",
        )
        for index in loudest
    ]


def _strikes(one: Told, results: ConditionResults, colours: Mapping[float, str]) -> list[Panel]:
    """How far the loudest part of a cycle stands out, at the levels that were played."""
    found: ImpulsiveResult | None = results.further.get("impulsive")
    if found is None:
        return []
    count = len(found.levels)
    curves = [
        Curve(
            frequency_hz=found.frequency_hz,
            values=20.0 * np.log10(np.maximum(level.z, LEAST_Z)),
            colour=colours[level.level_db_spl],
            dashes=() if (count - 1 - index) % 2 == 0 else CONDITION_DASHES[1],
            name=f"{level_name(level.level_db_spl)} dB",
        )
        for index, level in list(enumerate(found.levels))[::-1][:MOST_CURVES]
    ]
    return [_panel(one, "How far the loudest part of a cycle stands out, dB over what noise does", curves)]


def _tones(one: Told, results: ConditionResults, row: EvidenceRow) -> list[Panel]:
    """Even and odd distortion of the multitone of the level that shows a finding best."""
    levels = [found.level_db_spl for found in results.findings.multitones]
    if row.level_db_spl not in levels:
        return []
    bands = results.multitones[levels.index(row.level_db_spl)]
    curves = [
        Curve(
            frequency_hz=bands.frequency_hz,
            values=np.where(np.asarray(values) < floor, np.nan, values),
            colour=ORDER_COLOURS[number],
            dashes=ORDER_LINES[number],
            name=f"{name} orders at {level_name(row.level_db_spl)} dB",
        )
        for number, name, values, floor in (
            (2, "even", bands.even_db, bands.even_floor_db),
            (3, "odd", bands.odd_db, bands.odd_floor_db),
        )
    ]
    return [_panel(one, "Multitone distortion re the tones in the band, dB", curves)]
