"""Where one number comes from: its row, its curves, its recordings with their sidecars."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from distort.analysis.common.curves import Harmonics, Order, Response
from distort.analysis.common.quantities import RESPONSE, THD, Quantity
from distort.errors import UsageError, shown
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.files.names import parse_stem
from distort.session.plan.kinds import SHORT_SWEEP, SWEEP
from distort.session.recordings.sidecar import Sidecar, read_sidecar
from distort.session.results.condition_results import ConditionResults, LevelFound, RecordingUsed

FARTHEST_OCTAVES = 1.0 / 24.0
"""A frequency farther than this from every row has no number."""


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """Which number: response, THD or an order, at one frequency, of one level."""

    quantity: Quantity
    frequency_hz: float
    level_db_spl: float


@dataclass(frozen=True, kw_only=True)
class Origin:
    """A number with what it rests on."""

    results: ConditionResults
    level: LevelFound
    response: Response
    harmonics: Harmonics
    row: int
    order: Order | None
    """None: it is the response or THD."""
    recordings: tuple[tuple[RecordingUsed, Sidecar, bool], ...]
    """Each with its sidecar, and whether the file is still the one that was analysed."""


def origin_of(folder: SessionFolder, results: ConditionResults, wanted: Wanted) -> Origin:
    """Find it. Raises UsageError for a level, order or frequency that has no number, SessionError for sidecars."""
    if wanted.level_db_spl not in results.levels_db_spl:
        known = ", ".join(f"{level:g}" for level in results.levels_db_spl)
        raise UsageError(f"no level of {wanted.level_db_spl:g} dB SPL was analysed: there are {known}")
    at = results.levels_db_spl.index(wanted.level_db_spl)
    harmonics = results.harmonics[at]
    return Origin(
        results=results,
        level=results.findings.levels[at],
        response=results.responses[at],
        harmonics=harmonics,
        row=_row(harmonics, wanted.frequency_hz),
        order=_order(harmonics, wanted.quantity),
        recordings=tuple(_recordings(folder, results, wanted.level_db_spl)),
    )


def _row(harmonics: Harmonics, frequency_hz: float) -> int:
    away = np.abs(np.log2(harmonics.frequency_hz) - np.log2(frequency_hz))
    row = int(np.argmin(away))
    if away[row] > FARTHEST_OCTAVES:
        low, high = harmonics.frequency_hz[[0, -1]]
        raise UsageError(f"--hz {frequency_hz:g} has no row: they reach from {low:.0f} to {high:.0f} Hz")
    return row


def _order(harmonics: Harmonics, quantity: Quantity) -> Order | None:
    if quantity in (RESPONSE, THD):
        return None
    for order in harmonics.orders:
        if quantity.order == order.order:
            return order
    last = harmonics.orders[-1].order if harmonics.orders else 1
    known = f"{RESPONSE.in_findings}, {THD.in_findings}, or h2 to h{last}"
    raise UsageError(f"{shown(quantity.in_findings)} is no quantity of these tables: {known}")


def _recordings(
    folder: SessionFolder, results: ConditionResults, level_db_spl: float
) -> Iterator[tuple[RecordingUsed, Sidecar, bool]]:
    for used in results.findings.recordings:
        path = folder.inside(used.file)
        name = parse_stem(path.stem)
        if name is None or used.rejected is not None or name.after or name.level_db_spl != level_db_spl:
            continue
        if name.stimulus in (SWEEP, SHORT_SWEEP):
            unchanged = path.is_file() and sha256_of_file(path) == used.sha256
            yield used, read_sidecar(path.with_suffix(".json")), unchanged
