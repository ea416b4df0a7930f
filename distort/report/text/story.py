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
from distort.report.text.where_shown import (
    MADE_BY_SOMETHING,
    OF_ONE_RECORDING,
    OF_PARTS,
    Where,
    at_a_distance,
    curves_by_name,
    merged,
    of_what_strikes,
    strikes_there,
    striking,
    where_shown,
)
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


@dataclass(frozen=True, kw_only=True)
class Told:
    """A finding as the page tells it: once, however many conditions show it."""

    number: int
    """Counted over the whole page, from 1."""
    finding: Finding
    """As the first of the conditions has it that decides it."""
    belongs_to: Owner
    conditions: tuple[str, ...]
    """That show it, in the order of the plan, what decides it first."""
    where: Where
    """Of the others that were measured at a distance, and as loud."""
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
    def not_in(self) -> tuple[str, ...]:
        """The conditions that lack it."""
        return self.where.not_in

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
    far, curves, changed = at_a_distance(conditions), curves_by_name(conditions), changed or {}
    listed = merged(conditions)
    places = [where_shown(finding, shown, far, curves) for finding, shown in listed]
    owners = [_owner(finding, shown, at, changed) for (finding, shown), at in zip(listed, places, strict=True)]
    owned: list[tuple[Owner, Finding, dict[str, int], Where]] = []
    for place, (finding, shown) in enumerate(listed):
        strikes = striking(finding, shown, listed)
        where = places[place] if strikes is None else of_what_strikes(places[place], places[strikes])
        makes = owners[place] if strikes is None or not finding.decided else owners[strikes]
        owned.append(("open" if strikes_there(finding, listed) else makes, finding, shown, where))
    owned.sort(key=lambda one: (OWNERS.index(one[0]), min(one[2].values())))
    numbered = [(finding, shown) for _, finding, shown, _ in owned]
    return tuple(
        Told(
            number=number,
            finding=finding,
            belongs_to=owner,
            conditions=tuple(shown),
            where=where,
            verdict=next((one.verdict for one in across if same_finding(one.finding, finding)), None),
            audible=heard_words(finding, tuple(shown), listened) or NOT_KNOWN,
            numbers_in=tuple(shown.items()),
            inside=_inside(finding, shown, numbered),
            only_with=_only_with(shown, where, changed),
        )
        for number, (owner, finding, shown, where) in enumerate(owned, 1)
    )


def _inside(finding: Finding, shown: Collection[str], among: Sequence[tuple[Finding, Mapping[str, int]]]) -> int | None:
    """The first wide change with level, in one of the same conditions, that a place which changes more lies in; or what
    strikes in the band in which an order rises."""
    strikes = striking(finding, shown, among)
    if strikes is not None:
        return strikes + 1
    if "excess_db" not in finding.numbers:
        return None
    for number, (other, there) in enumerate(among, 1):
        band, wide = other.places[0], other.broad and other.explanation in OF_COMPRESSION
        if wide and band.low_hz <= finding.frequency_hz <= band.high_hz and not set(shown).isdisjoint(there):
            return number
    return None


def _only_with(shown: Mapping[str, int], where: Where, changed: Mapping[str, str]) -> str | None:
    """What was changed in the one condition that shows it, where all others lack it."""
    if len(shown) > 1 or not where.not_in or where.as_strong_in or where.hidden_in:
        return None
    return changed.get(next(iter(shown)))


def _owner(finding: Finding, shown: Mapping[str, int], where: Where, changed: Mapping[str, str]) -> Owner:
    """Whose it is. What one condition alone cannot tell, a second one can: a reflection that it lacks is none of the
    loudspeaker's; and what the same loudspeaker, of which no part was changed, does not make elsewhere, what it stands
    on may make."""
    if not finding.decided:
        return "open"
    of_the_place = (
        finding.explanation in MADE_BY_SOMETHING
        and bool(where.not_in)
        and not any(name in changed for name in (*shown, *where.not_in))
    )
    if finding.part_of_loudspeaker is not None and not of_the_place:
        return "loudspeaker" if finding.part_of_loudspeaker else "set-up"
    of_the_path = finding.explanation == "room" or (finding.explanation == "delayed-copy" and bool(where.not_in))
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
    if not one.not_in:
        return ""
    if one.where.as_strong_in or one.where.hidden_in:
        return f", not in {_listed(one.not_in)}"
    return f", in {_listed(one.conditions)} only"


def cause_words(thd: WorstThd, explained: Told | None) -> str:
    """What makes the worst THD where it is: a finding, or a dip of the response; nothing where neither is known."""
    if explained is not None:
        return f"{explained.number}: {_what_and_where(explained.finding)[0]}"
    return "" if thd.dip is None else f"in dip {thd.dip} of the response"


def shown_words(one: Told) -> str:
    """In which conditions it is seen, and in which not; nothing where there is one condition alone."""
    within = f"inside the range of finding {one.inside}" if one.inside is not None else ""
    others = _others_words(one.where)
    if not others and len(one.conditions) == 1:
        return f"{within[0].upper()}{within[1:]}." if within else ""
    row = one.finding.leading_row
    at = f", clearest at {level_name(row.level_db_spl)} dB" if row and " dB SPL" not in one.finding.headline else ""
    seen = f"Seen in {_listed(one.conditions)}{at}{', ' if within else ''}{within}"
    return f"{'; '.join((seen, *others))}."


def _others_words(where: Where) -> list[str]:
    """Of the conditions that do not list a finding, what is read there."""
    said = {"about as strong in": where.as_strong_in, "may be hidden in": where.hidden_in, "not found in": where.not_in}
    return [f"{what} {_listed(names)}" for what, names in said.items() if names]


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
    if not one.finding.decided:
        return "the cause"
    if one.finding.explanation in OF_ONE_RECORDING:
        return "whether something else sounded or the loudspeaker strikes there"
    stands = one.finding.explanation in MADE_BY_SOMETHING
    return f"whether the loudspeaker or {'what it stands on' if stands else 'the room'} makes it"


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
