"""The story of a session: every finding once, whose it is, and the three sentences that a report begins with."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from distort.analysis.findings.across import FindingAcross, same_finding
from distort.analysis.findings.finding import Finding
from distort.report.text.listened import OF_COMPRESSION, heard_words
from distort.report.text.numbers import hertz_words, level_name, with_plus_minus
from distort.report.text.overview import WorstThd
from distort.session.plan.keys import NEAR_FIELD
from distort.session.results.condition_results import ConditionResults
from distort.session.results.listened import Listened

Owner = Literal["loudspeaker", "set-up", "open"]
OWNERS: tuple[Owner, ...] = ("loudspeaker", "set-up", "open")

HEADINGS = {
    "loudspeaker": "What the loudspeaker does",
    "set-up": "What the room, the set-up or the recording does",
    "open": "What is undecided",
}
MARKS: dict[Owner, str] = {
    "loudspeaker": "of the loudspeaker",
    "set-up": "of room or set-up",
    "open": "undecided",
}
"""What the shape of a mark in a picture says."""

MOST_NAMED = 3
"""Findings in a sentence of the opening."""

OF_PARTS = frozenset({"rattle", "rub", "airflow-noise"})
"""Explanations of what sounds besides the orders: without the part that makes it, it is not there."""


@dataclass(frozen=True, kw_only=True)
class Told:
    """A finding as the page tells it: once, however many conditions show it."""

    number: int
    """Counted over the whole page, from 1."""
    finding: Finding
    """As the first of the conditions has it."""
    belongs_to: Owner
    conditions: tuple[str, ...]
    """That show it, in the order of the plan."""
    not_in: tuple[str, ...]
    """The others that were measured at a distance, and as loud."""
    verdict: str | None
    """What a changed condition proves of it."""
    audible: str
    """Whether somebody would hear it: by blind tests where there are any, otherwise estimated."""
    numbers_in: tuple[tuple[str, int], ...] = ()
    """Each condition that shows it with its number in that condition's own list."""
    inside: int | None = None
    """Number of the finding over a wide band that it is a place of; None: of none."""
    only_with: str | None = None
    """What was changed in the one condition that shows it, where others do not; None: nothing was said."""

    @property
    def anchor(self) -> str:
        """Where its paragraph is."""
        return f"finding-{self.number}"


def told(
    conditions: Sequence[ConditionResults],
    across: Sequence[FindingAcross] = (),
    *,
    listened: Listened | None = None,
    changed: Mapping[str, str] | None = None,
) -> tuple[Told, ...]:
    """Every finding of `conditions` once: the loudspeaker's own first; in each part the first of every condition comes
    before the second of any, so that what one condition alone shows is not left to the end.

    changed   what was changed in a condition, as the plan says
    """
    far = at_a_distance(conditions)
    merged: list[tuple[Finding, dict[str, int]]] = []
    for results in conditions:
        condition = results.findings.condition
        for finding in results.findings.findings or ():
            # two of one condition are two, however alike
            known = [shown for one, shown in merged if condition not in shown and same_finding(one, finding)]
            if known:
                known[0][condition] = finding.number
            else:
                merged.append((finding, {condition: finding.number}))
    owned = []
    for finding, shown in merged:
        names = [one.findings.condition for one in far if one.findings.condition in shown or _as_loud(one, finding)]
        owned.append((_owner(finding, _missing(shown, names)), finding, shown, names))
    owned.sort(key=lambda one: (OWNERS.index(one[0]), min(one[2].values())))
    wide = [
        (number, finding, shown)
        for number, (_, finding, shown, _) in enumerate(owned, 1)
        if finding.broad and finding.explanation in OF_COMPRESSION
    ]
    return tuple(
        Told(
            number=number,
            finding=finding,
            belongs_to=owner,
            conditions=tuple(shown),
            not_in=tuple(name for name in names if name not in shown),
            verdict=next((one.verdict for one in across if same_finding(one.finding, finding)), None),
            audible=heard_words(finding, tuple(shown), listened) or NOT_KNOWN,
            numbers_in=tuple(shown.items()),
            inside=_inside(finding, shown, wide),
            only_with=(changed or {}).get(next(iter(shown))) if _missing(shown, names) and len(shown) == 1 else None,
        )
        for number, (owner, finding, shown, names) in enumerate(owned, 1)
    )


def at_a_distance(conditions: Sequence[ConditionResults]) -> list[ConditionResults]:
    """Those that were not heard in the near field, which says nothing of the room; all, where there is nothing else."""
    far = [results for results in conditions if results.findings.setup.radiation != NEAR_FIELD]
    return far or list(conditions)


def _as_loud(results: ConditionResults, finding: Finding) -> bool:
    """Whether a condition was played at the level at which a finding is clearest, or above it: a limiter that comes in
    at 101 dB is missing in none that was only played at 96."""
    row = finding.leading_row
    level = row.level_db_spl if row is not None else finding.numbers.get("level_db_spl")
    if level is None:
        return True
    tones = row is not None and row.stimulus == "multitone"
    played = [one.level_db_spl for one in results.findings.multitones] if tones else results.levels_db_spl
    return any(one >= level for one in played)


def _inside(
    finding: Finding, shown: Collection[str], wide: Sequence[tuple[int, Finding, Collection[str]]]
) -> int | None:
    """The first wide change with level, in one of the same conditions, that a place which changes more lies in."""
    if "excess_db" not in finding.numbers:
        return None
    for number, other, there in wide:
        band = other.places[0]
        if band.low_hz <= finding.frequency_hz <= band.high_hz and not set(shown).isdisjoint(there):
            return number
    return None


def _missing(shown: Collection[str], names: Sequence[str]) -> bool:
    """Whether some conditions at a distance show it and others do not."""
    return 0 < len([name for name in names if name in shown]) < len(names)


def _owner(finding: Finding, missing_elsewhere: bool) -> Owner:
    """Whose it is. What one condition alone cannot tell, a second one can: a reflection that it lacks is none of the
    loudspeaker's."""
    if not finding.decided:
        return "open"
    if finding.part_of_loudspeaker is not None:
        return "loudspeaker" if finding.part_of_loudspeaker else "set-up"
    of_the_path = finding.explanation == "room" or (finding.explanation == "delayed-copy" and missing_elsewhere)
    return "set-up" if of_the_path else "open"


@dataclass(frozen=True, kw_only=True)
class OpeningSentence:
    """One of the three sentences, in parts: those with a number lead to their finding."""

    label: str
    parts: tuple[tuple[str, int | None], ...]

    @property
    def text(self) -> str:
        """All of it."""
        return "".join(part for part, _ in self.parts)


def opening(conditions: Sequence[ConditionResults], story: Sequence[Told]) -> tuple[OpeningSentence, ...]:
    """What is wrong, what is the room's or the set-up's, what to keep in mind."""
    cautions = " ".join(_cautions(conditions, story))
    return (
        OpeningSentence(label="The loudspeaker", parts=_of_owner(conditions, story, "loudspeaker")),
        OpeningSentence(label="Room, set-up, recording", parts=_of_owner(conditions, story, "set-up")),
        OpeningSentence(label="Keep in mind", parts=((cautions, None),)),
    )


_NONE: dict[Owner, str] = {
    "loudspeaker": "Nothing in its distortion or compression stands out.",
    "set-up": "Nothing that was found is known to be theirs.",
}
_UNREAD = "These results were made before findings were looked for: the recordings must be analysed again."


def _of_owner(
    conditions: Sequence[ConditionResults], story: Sequence[Told], owner: Owner
) -> tuple[tuple[str, int | None], ...]:
    ours = [one for one in story if one.belongs_to == owner]
    if not ours:
        unread = all(results.findings.findings is None for results in conditions)
        return ((_UNREAD if unread else _NONE[owner], None),)
    parts: list[tuple[str, int | None]] = []
    for place, one in enumerate(ours[:MOST_NAMED]):
        what, where = _what_and_where(one.finding)
        said = f"{what} ({where}{_where_shown(one) if len(conditions) > 1 else ''})"
        parts += [("; ", None)] * (place > 0)
        parts.append((said[0].upper() + said[1:] if place == 0 else said, one.number))
    more = ours[MOST_NAMED:]
    if more:
        parts.append((f"; and {len(more)} more: ", None))
        parts += [part for one in more for part in ((", ", None), (str(one.number), one.number))][1:]
    parts.append((".", None))
    return tuple(parts)


def _what_and_where(finding: Finding) -> tuple[str, str]:
    """A headline is the place, a colon and what is there."""
    where, _, what = finding.headline.partition(": ")
    return (what, where) if what else (where, hertz_words(finding.frequency_hz))


def _where_shown(one: Told) -> str:
    if one.only_with is not None:
        return f", only with {one.only_with}"
    return "" if not one.not_in else f", in {_listed(one.conditions)} only"


def cause_words(thd: WorstThd, explained: Told | None) -> str:
    """What makes the worst THD where it is: a finding, or a dip of the response; nothing where neither is known."""
    if explained is not None:
        return f"{explained.number}: {_what_and_where(explained.finding)[0]}"
    return "" if thd.dip is None else f"in dip {thd.dip} of the response"


def shown_words(one: Told) -> str:
    """In which conditions it is seen, and in which not; nothing where there is one condition alone."""
    within = f"inside the range of finding {one.inside}" if one.inside is not None else ""
    if not one.not_in and len(one.conditions) == 1:
        return f"{within[0].upper()}{within[1:]}." if within else ""
    row = one.finding.leading_row
    at = f", clearest at {level_name(row.level_db_spl)} dB" if row and " dB SPL" not in one.finding.headline else ""
    seen = f"Seen in {_listed(one.conditions)}{at}{', ' if within else ''}{within}"
    return f"{seen}; not found in {_listed(one.not_in)}." if one.not_in else f"{seen}."


def proof_words(one: Told) -> str:
    """What the conditions prove of it; nothing where they prove nothing."""
    if one.verdict is not None:
        return one.verdict
    if one.only_with is not None and one.finding.explanation in OF_PARTS:
        return f"Not found without it, in {_listed(one.not_in)}: what was changed makes it."
    if one.belongs_to == "set-up" and one.not_in:
        return f"Not found in {_listed(one.not_in)}, where the loudspeaker is the same."
    return ""


def confirm_words(one: Told) -> str:
    """What would confirm it, without what the plan's file must say for that; nothing where another condition already
    does."""
    return one.finding.next.text if one.verdict is not None or not proof_words(one) else ""


def undecided_words(one: Told) -> str:
    """What is undecided of a finding that is; nothing of others."""
    if one.belongs_to != "open":
        return ""
    return "whether the loudspeaker or the room makes it" if one.finding.decided else "the cause"


def _listed(names: Sequence[str]) -> str:
    if len(names) > 2 * MOST_NAMED:
        return f"{len(names)} conditions"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _cautions(conditions: Sequence[ConditionResults], story: Sequence[Told]) -> Iterator[str]:
    """What to keep in mind, the weightiest first."""
    each = [results.findings for results in conditions]
    first = at_a_distance(conditions)[0].findings
    if any(level.unit == "dbfs" for one in each for level in one.levels):
        yield "There is no calibration: levels are in dBFS, and no sound pressure level is known."
    unknown = [one for one in conditions if not _floor_known(one)]
    if unknown:
        yield "No noise floor is known, so nothing tells distortion from noise."
    gate = "" if first.gate_ms is not None else ", without a time gate"
    if first.setup.radiation == "room":
        did = "Simulated" if all(one.simulated for one in each) else "Measured"
        yield (
            f"{did} at one point in a room, {first.setup.distance_m:g} m away{gate}: dips and peaks may come from the "
            f"room."
        )
    lowest_hz = max((level.lowest_valid_hz for one in each for level in one.levels), default=0.0)
    if lowest_hz > LOW_HZ:
        yield f"Below {hertz_words(lowest_hz)} the fundamental is not valid."
    yield "THD is stated relative to the fundamental, so THD rises where the response dips."
    if undecided := [one for one in story if one.belongs_to == "open"]:
        what = dict.fromkeys(undecided_words(one) for one in undecided)
        named = _listed([str(one.number) for one in undecided])
        yield f"Undecided of {'finding' if len(undecided) == 1 else 'findings'} {named}: {', or '.join(what)}."


NOT_KNOWN = "not known; it takes a listening test"
"""Whether somebody would hear it."""

LOW_HZ = 30.0
"""A limit below this is no news: few loudspeakers play there (own choice)."""


def _floor_known(results: ConditionResults) -> bool:
    return not results.harmonics or any(
        np.isfinite(order.noise_db).any() for each in results.harmonics for order in each.orders
    )


def sentence_of(finding: Finding) -> str:
    """Its paragraph, with the sign for intervals."""
    return with_plus_minus(finding.sentence)
