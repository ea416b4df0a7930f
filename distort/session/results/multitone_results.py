"""Multitone results on disk: multitone_<L>dB.csv per third octave, and what else findings.json holds of a level."""

from dataclasses import dataclass, field, fields
from pathlib import Path

from distort.analysis.common.curves import LevelUnit
from distort.analysis.multitone.curves import MultitoneBands, MultitoneResult
from distort.analysis.multitone.settling import Settling
from distort.errors import SessionError
from distort.session.files.csv_table import read_table, write_table
from distort.session.files.json_fields import later
from signals import Multitone

_COLUMNS = tuple(one.name for one in fields(MultitoneBands) if one.name != "unit")
"""Of multitone_<L>dB.csv, `(bands,)` each; `level_db` has the unit in its name."""

_LATER = {f"{name}_noise_uncertainty_db": f"{name}_uncertainty_db" for name in ("even", "odd")}
"""Columns that earlier tables lack, and what held the same there: noise alone was stated then."""


@dataclass(frozen=True, kw_only=True)
class MultitoneFound:
    """What findings.json holds of the multitone of one level; dB re all lines unless the name says otherwise."""

    level_db_spl: float
    """Nominal."""
    drive_dbfs: float
    measured_db: float
    """Of all lines together, dB SPL at 1 m or dBFS."""
    distortion_db: float
    even_db: float
    odd_db: float
    noise_db: float
    floor_db: float
    """What noise and the clocks' wander may have put into `distortion_db`."""
    lines: int
    crest_factor_db: float
    phases: str
    spectrum: str
    realisations: int
    clock_difference_ppm: float
    """Recorder against player, chirps and lines together; it was taken out."""
    wander_ppm: float
    fast_wander: bool
    """The clocks wander faster than could be repaired: floors are raised accordingly."""
    warm_up: tuple[Settling, ...]
    """Bands whose level changed measurably from period to period: heating; empty where none did."""
    attack: tuple[Settling, ...]
    """Bands that began louder than they settled, within the first period: a limiter that comes in; empty where none."""
    draws: int = field(default=1, metadata=later())
    """Of the phases, among the realisations; takes of one draw are the others."""
    period_s: float | None = field(default=None, metadata=later())
    """None: analysed by an earlier version."""


def multitone_found(
    tone: Multitone,
    level_db_spl: float,
    result: MultitoneResult,
    *,
    warm_up: tuple[Settling, ...],
    attack: tuple[Settling, ...],
) -> MultitoneFound:
    """What findings.json holds of an analysed multitone."""
    return MultitoneFound(
        level_db_spl=level_db_spl,
        drive_dbfs=tone.drive_dbfs,
        measured_db=result.level_db,
        distortion_db=result.distortion_db,
        even_db=result.even_db,
        odd_db=result.odd_db,
        noise_db=result.noise_db,
        floor_db=result.floor_db,
        lines=int(tone.line_bins.size),
        crest_factor_db=tone.crest_factor_db,
        phases=tone.phases,
        spectrum=tone.spectrum,
        realisations=result.realisations,
        clock_difference_ppm=result.clock.difference_ppm,
        wander_ppm=result.clock.wander_ppm,
        fast_wander=result.clock.fast_wander,
        warm_up=warm_up,
        attack=attack,
        draws=result.draws,
        period_s=tone.period_s,
    )


def write_bands(path: Path, bands: MultitoneBands) -> None:
    """Write multitone_<L>dB.csv. Raises SessionError when the folder does not allow it."""
    columns = {f"level_{bands.unit}" if name == "level_db" else name: getattr(bands, name) for name in _COLUMNS}
    write_table(path, columns)


def read_bands(path: Path) -> MultitoneBands:
    """What `write_bands` wrote. Raises SessionError when the table is missing or another's."""
    table = read_table(path)
    unit: LevelUnit = "db_spl" if "level_db_spl" in table else "dbfs"
    try:
        return MultitoneBands(
            unit=unit,
            level_db=table.pop(f"level_{unit}"),
            **{name: table[name] for name in _COLUMNS if name != "level_db" and name not in _LATER},
            **{name: table.get(name, table[earlier]) for name, earlier in _LATER.items()},
        )
    except KeyError as error:
        raise SessionError(f"{path} lacks the column {error}: run `distort analyze` again") from error
