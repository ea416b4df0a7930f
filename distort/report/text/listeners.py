"""What blind tests say, in sentences: shown, or not shown and what is excluded; never that something is inaudible."""

import math
from collections.abc import Iterator
from typing import Any

from rich.table import Table

from distort.analysis.hearing.blind import FEWEST_FOR_BOOTSTRAP
from distort.assembly.listeners import AddedUp, PairHeard
from distort.report.text.headings import SIMULATED_WORDS
from distort.report.text.numbers import level_name, two_digits


def listeners_blocks(added: AddedUp) -> Iterator[str | Table]:
    """Who listened, a row a pair, what each row means, and how far the whole can be believed."""
    yield f"{added.loudspeaker}, blind test"
    if any(one.pair.simulated for one in added.pairs):
        yield f"{SIMULATED_WORDS}."
    yield _who_listened(added)
    yield ""
    yield _table(added)
    yield ""
    yield from (_meaning(one) for one in added.pairs if one.outcome.together.trials)
    yield ""
    yield from _how_to_read(added)


def listeners_document(added: AddedUp) -> dict[str, Any]:
    """The same for machines."""
    return {
        "loudspeaker": added.loudspeaker,
        "test": added.test,
        "files": added.files,
        "listeners": added.listeners,
        "runs": added.runs,
        "broken_off": added.broken_off,
        "repeated": added.repeated,
        "forgetful": added.forgetful,
        "pairs": [_pair_document(one) for one in added.pairs],
    }


def _pair_document(one: PairHeard) -> dict[str, Any]:
    outcome, pair = one.outcome, one.pair
    return {
        "pair": pair.pair,
        "title": pair.title,
        "condition": pair.condition,
        "level_db_spl": pair.level_db_spl,
        "source": pair.source,
        "simulated": pair.simulated,
        "control": pair.control,
        "runs": one.runs,
        "broken_off": one.broken_off,
        "listeners": len(outcome.by_listener),
        "right": outcome.together.right,
        "trials": outcome.together.trials,
        "probability_by_guessing": outcome.by_guessing,
        "share_low": outcome.low,
        "share_high": outcome.high,
        "interval_of": "listeners like these" if outcome.over_listeners else "these listeners",
        "shown": outcome.shown,
    }


def _who_listened(added: AddedUp) -> str:
    said = f"{_count(added.listeners, 'listener')}, {_count(added.runs, 'run')} in {_count(added.files, 'file')}"
    if added.broken_off:
        said += f"; {added.broken_off} broken off, the answers of which count as well"
    if added.repeated:
        said += f"; runs that stand in more than one file count once ({added.repeated} left out)"
    return f"{said}."


def _table(added: AddedUp) -> Table:
    table = Table(box=None, pad_edge=False)
    table.add_column("pair", overflow="fold")
    for name in ("listeners", "right", "by guessing", "share right", "shown"):
        table.add_column(name, justify="right")
    for one in added.pairs:
        outcome = one.outcome
        if not outcome.together.trials:
            table.add_row(_name(one), "0", "-", "-", "-", "-")
            continue
        table.add_row(
            _name(one),
            str(len(outcome.by_listener)),
            f"{outcome.together.right} of {outcome.together.trials}",
            _probability(outcome.by_guessing),
            _range(outcome.low, outcome.high),
            "yes" if outcome.shown else "no",
        )
    return table


def _meaning(one: PairHeard) -> str:
    outcome = one.outcome
    if one.pair.control:
        if outcome.shown:
            return (
                f"{_name(one)}: the same sound twice was told apart, so something else than the sound gave the answers "
                f"away: believe none of these results, and look for it."
            )
        return f"{_name(one)}: not told apart, as it must be."
    if not outcome.shown:
        return f"{_name(one)}: not shown; a share right above {math.ceil(100.0 * outcome.high)} % is excluded."
    return f"{_name(one)}: heard, in {_range(*outcome.detected)} of the trials (95 % interval)."


def _how_to_read(added: AddedUp) -> Iterator[str]:
    yield (
        "By guessing: probability of as many right answers if all only guess. Share right: 95 % interval; guessing "
        f"gives 50 %. It holds for listeners like these from {FEWEST_FOR_BOOTSTRAP} of them on, with fewer for these "
        "alone."
    )
    yield (
        f"Shown: more than guessing at 5 %, for all {_count(len(added.pairs), 'pair')} of the page together, whether "
        f"or not anyone tried them (Holm)."
    )
    if added.forgetful:
        yield (
            f"Careful: {_count(added.forgetful, 'file')} came from a browser that keeps nothing, so earlier runs may "
            f"be missing, and one person may count as two."
        )
    yield "The files agree with themselves and one another. That does not prove that nobody changed them."


def _name(one: PairHeard) -> str:
    pair = one.pair
    return f"{pair.title}, {pair.condition}, {level_name(pair.level_db_spl)} dB, {pair.source}"


def _range(low: float, high: float) -> str:
    """Two shares in per cent, rounded outwards: no more is excluded than was found."""
    return f"{math.floor(100.0 * low)} to {math.ceil(100.0 * high)} %"


def _probability(value: float) -> str:
    return "under 0.0001" if value < 1e-4 else two_digits(value)


def _count(number: int, name: str) -> str:
    return f"{number} {name}{'' if number == 1 else 's'}"
