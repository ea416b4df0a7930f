"""The trial's tables: what was said of each family, how sure it was, and what its own tables contradict."""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

import scipy.stats

Answer = dict[str, Any]

BINS = ((0.5, 0.7), (0.7, 0.9), (0.9, 1.0))
"""Of probabilities as said; the upper end belongs to the last alone."""

MOST_LISTED = 12


def lines(answers: Sequence[Answer], *, listed: bool = False) -> Iterator[str]:
    """All tables as text, a line at a time; `listed`: every wrong case as well."""
    yield from confusion(answers)
    yield ""
    yield from said(answers)
    yield ""
    yield from calibration(answers)
    yield ""
    yield from of_nothing(answers)
    yield from contradicted(answers)
    yield from cost(answers)
    if listed:
        yield ""
        yield from wrong_cases(answers)


def confusion(answers: Sequence[Answer]) -> Iterator[str]:
    """Right, wrong, undecided and not listed by family; the upper 95 % limit of the share right of those decided."""
    yield (
        f"{'family':<22} {'cases':>5} {'right':>5} {'wrong':>5} {'open':>5} {'none':>5} {'% right':>8} {'up to':>6}"
        f" {'large':>6} {'% open':>7}"
    )
    for family in dict.fromkeys(one["family"] for one in answers):
        yield _row(family, [one for one in answers if one["family"] == family])
    yield _row("all", answers)


def _row(name: str, answers: Sequence[Answer]) -> str:
    judged = _judged(answers)
    count = Counter(one["verdict"] for one in judged)
    right, decided = count["right"], count["right"] + count["wrong"]
    large = [one for one in judged if one["large"]]
    left_open = sum(one["verdict"] in ("undecided", "not listed") for one in large)
    share = f"{100.0 * right / decided:.1f}" if decided else "-"
    upper = f"{100.0 * upper_limit(right, decided):.0f}" if decided else "-"
    of_large = f"{100.0 * left_open / len(large):.0f}" if large else "-"
    return (
        f"{name:<22} {len(answers):>5} {right:>5} {count['wrong']:>5} {count['undecided']:>5} {count['not listed']:>5}"
        f" {share:>8} {upper:>6} {len(large):>6} {of_large:>7}"
    )


def upper_limit(right: int, decided: int) -> float:
    """Upper end of the exact 95 % interval of a share (Clopper and Pearson, Biometrika 26, 1934)."""
    return 1.0 if right == decided else float(scipy.stats.beta.ppf(0.975, right + 1, decided - right))


def said(answers: Sequence[Answer]) -> Iterator[str]:
    """By family and true word: how often it was called what."""
    yield "what was said"
    for family in dict.fromkeys(one["family"] for one in answers):
        judged = _judged([one for one in answers if one["family"] == family])
        for true in dict.fromkeys(one["true"] for one in judged):
            count = Counter(
                one["said"] if one["verdict"] in ("right", "wrong") else one["verdict"]
                for one in judged
                if one["true"] == true
            )
            yield f"{family}, {true}: " + ", ".join(f"{word} {number}" for word, number in count.most_common())


def calibration(answers: Sequence[Answer]) -> Iterator[str]:
    """Probability as said against the share right, of all that was decided."""
    judged = [one for one in _judged(answers) if one["verdict"] in ("right", "wrong")]
    yield f"{'said':<12} {'decided':>7} {'mean said':>10} {'right':>6}"
    for low, high in BINS:
        within = [one for one in judged if low <= one["probability"] < high or one["probability"] == high == 1.0]
        if within:
            mean = sum(one["probability"] for one in within) / len(within)
            right = sum(one["verdict"] == "right" for one in within) / len(within)
            yield f"{f'{low:g} to {high:g}':<12} {len(within):>7} {mean:>10.2f} {right:>6.2f}"
    below = sum(one["probability"] < BINS[0][0] for one in judged)
    if below:
        yield f"{f'below {BINS[0][0]:g}':<12} {below:>7}"


def of_nothing(answers: Sequence[Answer]) -> Iterator[str]:
    """How many sessions with nothing in them say anything."""
    nothing = [one for one in answers if one["family"] == "nothing"]
    if nothing:
        for note in sorted({one["note"] for one in nothing}):
            of_note = [one for one in nothing if one["note"] == note]
            listing = sum(one["findings"] > 0 for one in of_note)
            deciding = sum(bool(one["decided"]) for one in of_note)
            words = Counter(word for one in of_note for word in one["decided"])
            yield f"nothing but {note}: {len(of_note)} sessions, {listing} list a finding, {deciding} decide one"
            yield "  " + (", ".join(f"{word} {number}" for word, number in words.most_common()) or "nothing is decided")


def contradicted(answers: Sequence[Answer]) -> Iterator[str]:
    """Findings that a table of their own session contradicts, by rule, with some of them."""
    all_of_them = [(answer, one) for answer in answers for one in answer["contradictions"]]
    yield f"contradicted by their own tables: {len(all_of_them)}"
    for rule, number in Counter(one["rule"] for _, one in all_of_them).most_common():
        yield f"  {rule}: {number}"
    for answer, one in all_of_them[:MOST_LISTED]:
        yield f"  {answer['family']} {answer['seed']} {one['condition']} #{one['number']} {one['rule']}: {one['text']}"


def cost(answers: Sequence[Answer]) -> Iterator[str]:
    """Processor time of a session."""
    made, analysed = (sum(one[key] for one in answers) / len(answers) for key in ("made_s", "analysed_s"))
    yield f"processor time of a session: {made:.1f} s to make, {analysed:.1f} s to analyse"


def wrong_cases(answers: Sequence[Answer]) -> Iterator[str]:
    """Each with its seed, to look into; of the fresh split this is for the report alone."""
    for answer in answers:
        for one in answer["judged"]:
            if one["verdict"] == "wrong":
                yield (
                    f"wrong: {answer['family']} {answer['seed']} ({answer['note']}) {one['true']} at "
                    f"{one['at_hz']:.0f} Hz called {one['said']}, {one['probability']}"
                )


def _judged(answers: Sequence[Answer]) -> list[dict[str, Any]]:
    return [one for answer in answers for one in answer["judged"]]
