"""What a session's findings are worth against its truth. The rules were written before anything was tried.

- A finding meets a cause where one of its places lies within `NEAR_OCTAVES` of one of the cause's places, or holds one.
- What a finding says of a place is one whole: right and wrong are of all its words.
- A cause is **right** where a decided finding that meets it names it, or a word that is true of it as well (`accepted`,
  `also`), and whatever it says besides is true too. It is **wrong** where a decided finding names something that is not
  true there, even if another names it rightly. **Undecided**: it is met by findings that do not decide, or say noise.
  **Not listed**: nothing meets it.
- What is true of the loudspeaker, by its own equations, is never wrong (`claims.is_true`): it compresses where it does.
  A resonance is so excused only where the family put nothing: a dip of the ripple is one, a dip of a comb is none.
  A decided finding that meets no cause and is not true is one more wrong one.
- Where a cause changes the level by `LARGE_CHANGE_DB` or more, naming the dip beside it alone leaves it undecided.
- A cause is **large** where a session should tell it: a true source of 4 dB, or a true change of 0.5 dB, above the
  interval of the tables there; or a response of 4 dB.
"""

import math
from dataclasses import dataclass
from typing import Any, Literal

from tests.families.claims import is_true
from tests.families.drawing import Case
from tests.families.held_form import decided, is_broad, words_of
from tests.families.tables import Condition
from tests.families.truth import Cause

Finding = dict[str, Any]
Verdict = Literal["right", "wrong", "undecided", "not listed"]

NEAR_OCTAVES = 1.0 / 6.0

CLAIMS_NOTHING = frozenset({"noise", "undecided"})

LARGE_SOURCE_DB, LARGE_CHANGE_DB, LARGE_RESPONSE_DB = 4.0, 0.5, 4.0

CLEAR_DB = 10.0
"""Above its floor an order can be read."""


@dataclass(frozen=True, kw_only=True)
class Judged:
    """What became of one cause, or of one finding that meets none."""

    true: str
    """Its word; "nothing" of a finding that meets no cause."""
    said: str
    verdict: Verdict
    probability: float | None
    """As said; None where nothing was decided."""
    large: bool
    at_hz: float


def judge(case: Case, condition: Condition) -> list[Judged]:
    """Every cause of `case`, then every decided finding that meets none and is not true."""
    findings, met = condition.findings, set()
    found = []
    for cause in case.truth.causes:
        meeting = [place for place, one in enumerate(findings) if meets(one, cause)]
        met.update(meeting)
        found.append(_of_cause(cause, [findings[place] for place in meeting], case, large=is_large(cause, condition)))
    for place, finding in enumerate(findings):
        if place not in met and _claims(finding) and not _holds(finding, None, case):
            found.append(
                Judged(
                    true="nothing",
                    said=finding["explanation"],
                    verdict="wrong",
                    probability=finding["probability"],
                    large=False,
                    at_hz=finding["places"][0]["frequency_hz"] if finding["places"] else math.nan,
                )
            )
    return found


def meets(finding: Finding, cause: Cause) -> bool:
    """Whether they speak of one place."""
    return any(
        abs(math.log2(place["frequency_hz"] / at_hz)) <= NEAR_OCTAVES
        or (place["low_hz"] <= at_hz <= place["high_hz"] and (not is_broad(place) or bool(cause.change_db)))
        for place in finding["places"]
        for at_hz in cause.places_hz
    )


def is_large(cause: Cause, condition: Condition) -> bool:
    """Whether a session should tell it, by sizes that are true and intervals that its tables state."""
    if abs(cause.response_db) >= LARGE_RESPONSE_DB:
        return True
    for quantity, levels in cause.source_db.items():
        for level, size in levels.items():
            table = condition.harmonics.get(level)
            if table is None:
                continue
            ratio, floor, interval = (
                table.at(f"{quantity}_{column}", cause.frequency_hz) for column in ("db", "noise_db", "uncertainty_db")
            )
            if ratio - floor > CLEAR_DB and abs(size) - interval >= LARGE_SOURCE_DB:
                return True
    changes = condition.changes.get("sweep")
    if changes is None:
        return False
    for level, size in cause.change_db.items():
        column = f"change_{level:g}db"
        interval = changes.at(f"{column}_uncertainty", cause.frequency_hz)
        bias = changes.at(f"{column}_bias", cause.frequency_hz)
        if abs(size) - interval - abs(0.0 if math.isnan(bias) else bias) >= LARGE_CHANGE_DB:
            return True
    return False


def _of_cause(cause: Cause, meeting: list[Finding], case: Case, *, large: bool) -> Judged:
    claiming = [one for one in meeting if _claims(one)]
    wrong = [one for one in claiming if not _holds(one, cause, case)]
    named = [one for one in claiming if set(words_of(one)) & {cause.explanation, *cause.accepted}]
    partly = [one for one in claiming if set(words_of(one)) & cause.words]
    chosen: Finding | None = None
    verdict: Verdict = "not listed"
    if wrong:
        chosen, verdict = wrong[0], "wrong"
    elif named or (partly and cause.largest_change_db() < LARGE_CHANGE_DB):
        chosen, verdict = (named or partly)[0], "right"
    elif meeting:
        verdict = "undecided"
    said = " + ".join(words_of(chosen)) if chosen else (meeting[0]["explanation"] if meeting else "-")
    return Judged(
        true=cause.explanation,
        said=said,
        verdict=verdict,
        probability=chosen["probability"] if chosen else None,
        large=large,
        at_hz=cause.frequency_hz,
    )


def _claims(finding: Finding) -> bool:
    return decided(finding) and finding["explanation"] not in CLAIMS_NOTHING


def _holds(finding: Finding, cause: Cause | None, case: Case) -> bool:
    """Whether every word of it is among those that are true, or true by the loudspeaker's own equations."""
    return all(_word_holds(word, finding["places"], cause, case) for word in words_of(finding))


def _word_holds(word: str, places: list[dict[str, float]], cause: Cause | None, case: Case) -> bool:
    if word in CLAIMS_NOTHING or word in case.truth.harmless or (cause is not None and word in cause.words):
        return True
    if cause is not None and word == "resonance":
        return False
    return any(is_true(word, place, case) for place in places)
