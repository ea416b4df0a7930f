"""Whether somebody heard what a finding is about, as far as blind tests say."""

import math

from distort.analysis.findings.finding import Finding
from distort.report.text.numbers import level_name
from distort.session.results.listened import Listened, ListenedPair

OF_COMPRESSION = frozenset({"compression", "expansion", "limiting", "heating"})
"""Explanations that the pair of compression is about."""

IN_MUSIC = {
    "yes": "stands above what the music masks",
    "perhaps": "lies about where the music masks it",
    "no": "is masked, or too faint",
}

BY_NO_PAIR = frozenset({"room", "noise"})
"""What no pair takes away."""


def heard_words(finding: Finding, conditions: tuple[str, ...], listened: Listened | None) -> str:
    """Whether somebody would hear a finding of these conditions: as recorded music and blind tests say; where neither
    does, of single tones; each says which it is. "" where nothing is known."""
    blind, estimate = blind_words(finding, conditions, listened), _estimate_words(finding)
    if finding.audible is not None and finding.audible.of == "single tones" and blind:
        return blind
    return "; ".join(words for words in (estimate, blind) if words)


def _estimate_words(finding: Finding) -> str:
    said = finding.audible
    if said is None:
        return ""
    if said.of == "recorded music":
        return (
            f"the added distortion: {said.verdict}; in music at {level_name(said.at_db_spl)} dB SPL it "
            f"{IN_MUSIC.get(said.verdict, '')} (an estimate)"
        )
    return f"the added distortion: {said.verdict}, of single tones at {level_name(said.at_db_spl)} dB SPL (an estimate)"


def blind_words(finding: Finding, conditions: tuple[str, ...], listened: Listened | None) -> str:
    """What listeners showed of a finding of these conditions; "" where no pair tells.

    Of several pairs that of its very dip counts first, then the surest.
    """
    told = [one for one in (listened.pairs if listened else ()) if one.condition in conditions and one.trials]
    told = [one for one in told if _tells(one, finding)]
    if not told:
        return ""
    best = min(told, key=lambda one: (one.kind != "dip", not one.shown, one.probability_by_guessing))
    return _said(best)


def _tells(pair: ListenedPair, finding: Finding) -> bool:
    if finding.explanation in BY_NO_PAIR:
        return False
    if finding.explanation in OF_COMPRESSION:
        return pair.kind == "compression"
    if pair.kind == "dip":
        at_hz = pair.frequency_hz or 0.0
        # a broad change spans dips that it has nothing to do with
        return not finding.broad and any(place.low_hz <= at_hz <= place.high_hz for place in finding.places)
    return pair.kind == "distortion" and any(row.speaks == "for" for row in finding.evidence)


def _said(pair: ListenedPair) -> str:
    what = {"distortion": "all distortion together", "compression": "all compression together"}.get(
        pair.kind, "the dip"
    )
    who = f"{pair.listeners} listener{'' if pair.listeners == 1 else 's'}, {pair.right} of {pair.trials} right"
    where = f"at {level_name(pair.level_db_spl)} dB SPL"
    if pair.shown:
        return f"heard {where} in a blind test of {what} ({who})"
    return (
        f"not shown {where} in a blind test of {what}; a share right above {math.ceil(100.0 * pair.share_high)} % is "
        f"excluded ({who})"
    )
