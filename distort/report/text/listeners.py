"""What blind tests say, in sentences: shown, or not shown and what is excluded; never that something is inaudible."""

import math
from collections.abc import Iterator

from rich.table import Table

from distort.analysis.hearing.blind import FEWEST_FOR_BOOTSTRAP, detected
from distort.report.text.numbers import level_name, two_digits
from distort.report.text.simulated import SIMULATED_WORDS
from distort.session.results.listened import Listened, ListenedPair


def listeners_blocks(added: Listened) -> Iterator[str | Table]:
    """Who listened, a row a pair, what each row means, and how far the whole can be believed."""
    yield f"{added.loudspeaker}, blind test"
    if any(one.simulated for one in added.pairs):
        yield f"{SIMULATED_WORDS}."
    yield _who_listened(added)
    yield ""
    yield _table(added)
    yield ""
    yield from (_meaning(one) for one in added.pairs if one.trials)
    yield ""
    yield from _how_to_read(added)


def _who_listened(added: Listened) -> str:
    said = f"{_count(added.listeners, 'listener')}, {_count(added.runs, 'run')} in {_count(added.files, 'file')}"
    if added.broken_off:
        said += f"; {added.broken_off} broken off, the answers of which count as well"
    if added.repeated:
        said += f"; runs that stand in more than one file count once ({added.repeated} left out)"
    return f"{said}."


def _table(added: Listened) -> Table:
    table = Table(box=None, pad_edge=False)
    table.add_column("pair", overflow="fold")
    for name in ("listeners", "right", "by guessing", "share right", "shown"):
        table.add_column(name, justify="right")
    for one in added.pairs:
        if not one.trials:
            table.add_row(_name(one), "0", "-", "-", "-", "-")
            continue
        table.add_row(
            _name(one),
            str(one.listeners),
            f"{one.right} of {one.trials}",
            _probability(one.probability_by_guessing),
            _range(one.share_low, one.share_high),
            "yes" if one.shown else "no",
        )
    return table


def _meaning(one: ListenedPair) -> str:
    if one.kind == "control":
        if one.shown:
            return (
                f"{_name(one)}: the same sound twice was told apart, so something else than the sound gave the answers "
                f"away: believe none of these results, and look for it."
            )
        return f"{_name(one)}: not told apart, as it must be."
    if not one.shown:
        return f"{_name(one)}: not shown; a share right above {math.ceil(100.0 * one.share_high)} % is excluded."
    heard = _range(*(detected(share) for share in (one.share_low, one.share_high)))
    return f"{_name(one)}: heard, in {heard} of the trials (95 % interval)."


def _how_to_read(added: Listened) -> Iterator[str]:
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


def _name(one: ListenedPair) -> str:
    return f"{one.title}, {one.condition}, {level_name(one.level_db_spl)} dB, {one.source}"


def _range(low: float, high: float) -> str:
    """Two shares in per cent, rounded outwards: no more is excluded than was found."""
    return f"{math.floor(100.0 * low)} to {math.ceil(100.0 * high)} %"


def _probability(value: float) -> str:
    return "under 0.0001" if value < 1e-4 else two_digits(value)


def _count(number: int, name: str) -> str:
    return f"{number} {name}{'' if number == 1 else 's'}"
