"""The first screen: the response with its findings marked, three sentences, and one table."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from markupsafe import Markup

from distort.report.figures.response import AXIS_LABELS, response_limits, shown
from distort.report.figures.style import HIGHEST_HZ, LOWEST_HZ
from distort.report.page.colours import level_colours
from distort.report.page.marks import Badge, badges
from distort.report.page.plot import Curve, Plot, Size, drawn
from distort.report.text.burst import how_loud_sentence
from distort.report.text.level_limits import limit_sentences, rule_sentences
from distort.report.text.numbers import NOT_MEASURABLE, level_name, two_digits, two_digits_hertz
from distort.report.text.overview import HEADERS, LevelOverview, cells, legend, overview
from distort.report.text.story import MARKS, Owner, Told, cause_words
from distort.report.text.tables_sweep import BELOW_FLOOR, DOUBTFUL
from distort.session.results.condition_results import ConditionResults

WIDE = Size(width=545.0, height=270.0, letters=12.5)
NARROW = Size(width=360.0, height=165.0, letters=11.5)
"""One is shown where there is room for it, the other on a phone."""

MOST_PANELS = 4
"""Conditions whose response is on the first screen; all are among the curves below."""

BESIDE = 2
"""Pictures in a row on a wide screen."""

MOST_LEVELS = 5


@dataclass(frozen=True, kw_only=True)
class ResponsePicture:
    """The response of one condition, for a wide and a narrow screen."""

    condition: str
    changed: str | None
    """Against the first condition; None: nothing was said."""
    unit: str
    """Of the level axis."""
    wide: Markup
    narrow: Markup


def response_pictures(
    conditions: Sequence[ConditionResults], story: Sequence[Told], *, changed: Mapping[str, str] | None = None
) -> tuple[ResponsePicture, ...]:
    """One a condition that has a response, on the same scales, the first few of them.

    changed   what was changed in a condition, as the plan says
    """
    able = [results for results in conditions if results.responses][:MOST_PANELS]
    limits = response_limits([response for results in able for response in results.responses]) if able else (0.0, 50.0)
    marks = {
        (results.findings.condition, size): badges(
            story,
            condition=results.findings.condition,
            width=size.width - 90.0,
            low_hz=LOWEST_HZ,
            high_hz=HIGHEST_HZ,
            most_places=3 if size == WIDE else 1,
        )
        for results in able
        for size in (WIDE, NARROW)
    }
    colours = level_colours(conditions)
    characters = max((len(_level_words(level)) for results in able for level in results.levels_db_spl), default=0)
    pictures = []
    for place, results in enumerate(able):
        row = able[place // BESIDE * BESIDE :][:BESIDE]
        lanes = max((mark.lane + 1 for one in row for mark in marks[one.findings.condition, WIDE]), default=0)
        both = _pictures(
            results,
            limits,
            colours,
            marks={size: marks[results.findings.condition, size] for size in (WIDE, NARROW)},
            lanes=lanes,
            characters=characters,
        )
        pictures.append(
            ResponsePicture(
                condition=results.findings.condition,
                changed=(changed or {}).get(results.findings.condition),
                unit=AXIS_LABELS[results.responses[0].unit],
                wide=both[0],
                narrow=both[1],
            )
        )
    return tuple(pictures)


def _pictures(
    results: ConditionResults,
    limits: tuple[float, float],
    colours: Mapping[float, str],
    *,
    marks: Mapping[Size, tuple[Badge, ...]],
    lanes: int,
    characters: int,
) -> list[Markup]:
    """The wide and the narrow one; `marks` by their size. So many `lanes` are kept free for them in the wide one, and
    room for so many `characters` on the right, that pictures beside or under one another are level."""
    condition = results.findings.condition
    curves = _curves(results, colours)
    top_db, span_db = limits
    return [
        drawn(
            Plot(
                says=f"Frequency response, {condition}, at {len(curves)} levels, {len(marks[size])} findings marked",
                curves=curves,
                low_hz=LOWEST_HZ,
                high_hz=HIGHEST_HZ,
                low=top_db - span_db,
                high=top_db,
                badges=marks[size],
                lanes=lanes if size == WIDE else 0,
                names=True,
                name_characters=characters,
            ),
            size,
        )
        for size in (WIDE, NARROW)
    ]


def _level_words(level_db_spl: float) -> str:
    return f"{level_name(level_db_spl)} dB"


def owners(story: Sequence[Told]) -> tuple[tuple[Owner, str], ...]:
    """Whose the marks are, with their words."""
    there = {one.belongs_to for one in story}
    return tuple((owner, words) for owner, words in MARKS.items() if owner in there)


def _curves(results: ConditionResults, colours: Mapping[float, str]) -> tuple[Curve, ...]:
    """Lowest and highest level, and some between where there are many."""
    count = len(results.levels_db_spl)
    picked = sorted({round(index * (count - 1) / max(min(count, MOST_LEVELS) - 1, 1)) for index in range(MOST_LEVELS)})
    return tuple(
        Curve(
            frequency_hz=results.responses[index].frequency_hz,
            values=shown(results.responses[index]),
            colour=colours[results.levels_db_spl[index]],
            name=_level_words(results.levels_db_spl[index]),
            width=1.8,
        )
        for index in picked
        if index < count
    )


@dataclass(frozen=True, kw_only=True)
class OverviewRow:
    """One level of one condition."""

    condition: str
    cells: tuple[str, ...]
    """Under `OverviewTable.headers`."""
    order: str
    """The strongest where THD is worst."""
    cause: str
    """What explains it, as far as that is known."""
    anchor: str | None
    """The finding that does."""


@dataclass(frozen=True, kw_only=True)
class OverviewTable:
    """What the levels say, condition after condition."""

    headers: Sequence[tuple[str, str]]
    """Each with its unit; "": it has none, or its cells say it."""
    worst: str
    """The worst THD of all, its place, level and cause: what a phone says of the table while it is folded."""
    groups: tuple[tuple[str, tuple[OverviewRow, ...], tuple[str, ...]], ...]
    """Condition, its rows, and how loud it goes."""
    marks: tuple[str, ...]
    """What the marks in its cells mean."""
    legend: tuple[str, ...]
    left_out: tuple[str, ...]
    """Conditions that have no rows here."""


SOFT = {"Multitone": "Multi\u00adtone", "Compression": "Compres\u00adsion"}
"""Where a heading may break on a phone."""

MARKS_IN_CELLS = (f"{DOUBTFUL} ", f"{BELOW_FLOOR} ", f"{NOT_MEASURABLE}:")
"""How the lines of the legend begin that say what a mark means."""

UNITS = {"Spread": "dB", "Worst THD": "%", "Multitone": "%", "Compression": "dB"}


def overview_table(conditions: Sequence[ConditionResults], story: Sequence[Told]) -> OverviewTable:
    """A row a level; of many conditions the first few, of many levels those that the picture has."""
    groups: list[tuple[str, tuple[OverviewRow, ...], tuple[str, ...]]] = []
    rows: list[LevelOverview] = []
    worst: tuple[float, str] = (0.0, "")
    for results in conditions[:MOST_PANELS]:
        found = overview(results)
        rows += found
        numbers = _numbers(results, story)
        name = f"{results.findings.condition} at " if len(conditions) > 1 else ""
        worst = max([worst, *_worst_of(found, numbers, name)], key=lambda one: one[0])
        told = tuple(_row(results, one, numbers) for one in found)
        groups.append((results.findings.condition, told, (*limit_sentences(results), *how_loud_sentence(results))))
    lines = [each for each in legend(rows) if not each.startswith("In brackets")]
    lines += dict.fromkeys(each for results in conditions[:MOST_PANELS] for each in rule_sentences(results))
    return OverviewTable(
        headers=tuple((SOFT.get(each, each), UNITS.get(each, "")) for each in HEADERS),
        worst=worst[1],
        groups=tuple(groups),
        marks=tuple(f"{line.rstrip('.')}." for line in lines if line.startswith(MARKS_IN_CELLS)),
        legend=tuple(line for line in lines if not line.startswith(MARKS_IN_CELLS)),
        left_out=tuple(results.findings.condition for results in conditions[MOST_PANELS:]),
    )


def _worst_of(rows: Sequence[LevelOverview], numbers: Mapping[int, Told], name: str) -> Iterator[tuple[float, str]]:
    """The worst THD of each row that has one, per cent, with the words for it; `name` says whose it is."""
    for one in rows:
        thd = one.thd
        if thd is None:
            continue
        explained = None if thd.finding is None else numbers.get(thd.finding)
        cause = cause_words(thd, explained)
        place = f"{two_digits(thd.percent)} % at {two_digits_hertz(thd.frequency_hz)}"
        said = [
            f"Worst THD {place} ({name}{_level_words(one.level_db_spl)})",
            *(["use with caution"] if thd.mark == DOUBTFUL else []),
            *([f"finding {cause}" if explained is not None else cause] if cause else []),
        ]
        yield thd.percent, f"{', '.join(said)}."


def _numbers(results: ConditionResults, story: Sequence[Told]) -> Mapping[int, Told]:
    """The finding of the page that each number of a condition's own list means."""
    condition = results.findings.condition
    return {number: one for one in story for name, number in one.numbers_in if name == condition}


def _row(results: ConditionResults, one: LevelOverview, numbers: Mapping[int, Told]) -> OverviewRow:
    thd = one.thd
    explained = None if thd is None or thd.finding is None else numbers.get(thd.finding)
    plain = one if thd is None else replace(one, thd=replace(thd, finding=None, dip=None))
    return OverviewRow(
        condition=results.findings.condition,
        cells=cells(plain),
        order="" if thd is None else f"H{thd.order}",
        cause="" if thd is None else cause_words(thd, explained),
        anchor=None if explained is None else explained.anchor,
    )
