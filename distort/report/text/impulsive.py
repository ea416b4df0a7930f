"""What strikes, rubs or blows, in a table of places and a sentence each."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from rich.table import Table

from distort.analysis.impulsive.cycles import PER_DECADE
from distort.analysis.impulsive.impulsive import ONCE, ImpulsiveLevel, ImpulsivePlace, ImpulsiveResult, Kind, stretches
from distort.report.text.blind import made_words
from distort.report.text.headings import heading_sentences
from distort.report.text.numbers import level_name, two_digits, two_digits_hertz
from distort.session.results.condition_results import ConditionResults

if TYPE_CHECKING:
    from distort.assembly.condition.residual_sound import ResidualSound

KIND_WORDS: Mapping[Kind, str] = {
    "rattle": "rattle, a loose part",
    "rub": "rub, stop or clipping",
    "airflow-noise": "airflow noise",
    "high-orders": "orders beyond the tenth",
    "undecided": "rattle or rub, open",
}


def impulsive_blocks(results: ConditionResults) -> Iterator[str | Table]:
    """Whose sweeps these are, a row a place, what stands out in one recording alone, and what the columns mean."""
    result: ImpulsiveResult = results.further["impulsive"]
    yield from heading_sentences(results)
    places = result.places
    if places:
        yield "What strikes, rubs or blows while the sweep plays"
        yield _table(places)
        yield (
            "Stands out: by how many standard deviations of noise the loudest part of a cycle is above the rest. "
            "Regular: 1 where every cycle repeats the last, about 0 where none does. Uneven: about 1 where every "
            "cycle is as strong; over 6.5 some strike harder than others. Sharp: share of the power an octave and more "
            "above the eleventh order; what repeats and has little of it is no strike."
        )
    else:
        yield _nothing(result)
    for level in result.levels:
        yield from _once_sentences(result, level)
    yield ""


def _nothing(result: ImpulsiveResult) -> str:
    low_hz, high_hz = result.frequency_hz[0], result.frequency_hz[-1]
    return (
        f"Nothing strikes, rubs or blows in two recordings while the sweeps pass {two_digits_hertz(low_hz)} to "
        f"{two_digits_hertz(high_hz)}."
    )


def _once_sentences(result: ImpulsiveResult, level: ImpulsiveLevel) -> Iterator[str]:
    edge = 10.0 ** (0.5 / PER_DECADE)
    hz = result.frequency_hz
    found = [f"{hz[first] / edge:.0f} to {hz[end - 1] * edge:.0f} Hz" for first, end in stretches(level.alarm == ONCE)]
    if found:
        yield (
            f"At {level_name(level.level_db_spl)} dB SPL something stands out at {', '.join(found)} in one recording "
            f"alone: record that level again to tell the loudspeaker from the room."
        )


def _table(places: tuple[ImpulsivePlace, ...]) -> Table:
    table = Table(box=None, pad_edge=False)
    for heading in ("dB SPL", "Hz", "What", "Stands out", "Regular", "Uneven", "Sharp"):
        table.add_column(heading, justify="left" if heading == "What" else "right")
    for one in places:
        table.add_row(
            level_name(one.level_db_spl),
            f"{one.low_hz:.0f} to {one.high_hz:.0f}",
            KIND_WORDS[one.kind],
            f"{one.z:.0f}",
            "-" if np.isnan(one.regularity) else f"{one.regularity:.2f}",
            two_digits(one.unevenness),
            "-" if np.isnan(one.spread) else f"{100.0 * one.spread:.0f} %",
        )
    return table


ALONE_WORDS: Mapping[str, str] = {
    "rattle": "The rattle by itself",
    "rub": "What rubs or strikes, by itself",
    "airflow-noise": "The noise of the air, by itself",
}
"""By a finding's explanation: what is heard of it without the sweep."""


def alone_words(explanation: str, sound: "ResidualSound", low_hz: float, high_hz: float) -> str:
    """What a page plays of a finding."""
    return (
        f"{ALONE_WORDS[explanation]}: what sounds beyond the tenth harmonic while {low_hz:.0f} to {high_hz:.0f} Hz "
        f"plays, without the sweep. "
        f"{made_words('recorded', sound.level_db_spl, sound.condition, simulated=sound.simulated)} It was raised by "
        f"{sound.raised_db:.0f} dB: turn the volume down before you listen."
    )


def residual_sentences(sound: "ResidualSound", path: Path) -> Iterator[str]:
    """Where the sound is, how loud it was, and how to listen to it."""
    origin = "the simulated loudspeaker, not a measurement" if sound.simulated else sound.condition
    yield f"{path}: what lies beyond the tenth order of {sound.file} ({origin})."
    if sound.peak_db_spl is not None:
        yield f"Its highest peak had {sound.peak_db_spl:.0f} dB SPL at the microphone."
    yield f"It was raised by {sound.raised_db:.0f} dB: turn the volume down before you listen."
