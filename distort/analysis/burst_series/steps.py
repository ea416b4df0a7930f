"""Which bursts are played next, how loud, and how long all of it lasts at most: pure arithmetic, without a clock.

Levels are nominal, on a grid of 1 dB that begins at the quietest level. A band goes up by 2 dB, by 1 dB where it is
near a limit; where it passed one, it is played between, until the steps on either side are 1 dB apart. The lowest
level that any band needs is played next, with all bands that need it. So a level is played twice at most: once on
the way up, and once more, by then with other bands, below a step of 2 dB that passed a limit.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from distort.analysis.burst_series.judged import Judged
from distort.analysis.common.burst_limits import BurstLimits

STEP_DB, FINE_DB = 2.0, 1.0

REFERENCES = 4
"""Recordings of the quietest level, whose mean all others are held against."""

ROUNDING_DB = 1e-6
"""Far below a step, and above the rounding of decimal levels."""

NO_LIMIT, NOISE, CEILING, DRIVE = "plan", "noise", "ceiling", "drive"
"""What ends a band besides its limits: nothing above was played; its reference stands in noise; nothing louder may be
played; nothing may be driven higher."""

MICROPHONE, INPUT = "microphone", "input"
"""What else keeps a band from more: [microphone] max_db_spl, and clipping of the input."""

LEAST_REST_S = 8.0
"""After each recording: a coil's own time constant is some seconds (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class Band:
    """How far one band has come."""

    frequency_hz: float
    drive_top_db_spl: float
    """Nominal level above which it must not be driven."""
    drive_by: str = DRIVE
    """What sets that."""
    most_peak_db: float = math.inf
    """Peak at 1 m above which nothing is played, dB SPL."""
    peak_by: str = CEILING
    """What sets that."""
    gain_db: float = -math.inf
    """Peak expected at a nominal level, less that level: as the quiet run foretells it, or as its last burst was; minus
    infinity where nothing was heard yet."""
    clean_db_spl: float | None = None
    """The highest level below all faults; None: it was not played yet."""
    failed_db_spl: float | None = None
    """The lowest level at which it passed a limit."""
    near: bool = False
    """At `clean_db_spl` it was near a limit."""
    unheard: bool = False
    """Its reference stands in noise, so that nothing can be said of it."""

    @property
    def top_db_spl(self) -> float:
        """Nominal level above which it must not be played, if it goes on as it was at its last level."""
        return min(self.drive_top_db_spl, self.most_peak_db - self.gain_db)

    @property
    def top_by(self) -> str:
        """What sets that."""
        return self.peak_by if self.most_peak_db - self.gain_db < self.drive_top_db_spl else self.drive_by

    def may_begin(self, lowest_db_spl: float) -> bool:
        """Whether it may be played at the quietest level: nothing forbids it, and it passed no limit below, where a
        plan of before began."""
        passed_below = self.failed_db_spl is not None and self.failed_db_spl < lowest_db_spl - ROUNDING_DB
        return lowest_db_spl <= self.top_db_spl + ROUNDING_DB and not passed_below

    def told(
        self, level_db_spl: float, *, fault: bool, near: bool = False, peak_db: float = math.nan, clear: bool = True
    ) -> "Band":
        """With what its burst at a level said. Levels come from the lowest up, or between clean and fault.

        peak_db   as measured, dB SPL at 1 m: the next one is expected by it; NaN: not known
        """
        if not clear and self.clean_db_spl is None:
            return replace(self, unheard=True, clean_db_spl=level_db_spl)
        if fault:
            return replace(self, failed_db_spl=min(level_db_spl, self.failed_db_spl or math.inf))
        if self.failed_db_spl is not None and level_db_spl > self.failed_db_spl:
            return self
        gain_db = self.gain_db if math.isnan(peak_db) else peak_db - level_db_spl
        return replace(self, clean_db_spl=level_db_spl, near=near, gain_db=gain_db)

    def next_db_spl(self, lowest_db_spl: float) -> float | None:
        """The level at which it is played next; None: it has ended."""
        clean, failed = self.clean_db_spl, self.failed_db_spl
        if self.unheard:
            return None
        if clean is None:
            first = failed is None and lowest_db_spl <= self.top_db_spl + ROUNDING_DB
            return lowest_db_spl if first else None
        wanted = clean + (FINE_DB if self.near else STEP_DB)
        if failed is not None and wanted >= failed - ROUNDING_DB:
            wanted = failed - FINE_DB
        steps = math.floor(min(wanted, self.top_db_spl) - lowest_db_spl + ROUNDING_DB)
        level = round(lowest_db_spl + steps * FINE_DB, 2)
        return level if level > clean + ROUNDING_DB else None


@dataclass(frozen=True, kw_only=True)
class BurstStep:
    """The next recording."""

    level_db_spl: float
    bands: tuple[int, ...]
    """Which of the bands sound in it."""


def next_step(bands: Sequence[Band], *, lowest_db_spl: float, references: int = REFERENCES) -> BurstStep | None:
    """What is played next; None: every band has ended.

    references   how many recordings of the quietest level there are
    """
    if references < REFERENCES:
        there = tuple(index for index, band in enumerate(bands) if band.may_begin(lowest_db_spl))
        return BurstStep(level_db_spl=lowest_db_spl, bands=there) if there else None
    wanted = [band.next_db_spl(lowest_db_spl) for band in bands]
    level = min((one for one in wanted if one is not None), default=None)
    if level is None:
        return None
    together = tuple(index for index, one in enumerate(wanted) if one is not None and one <= level + ROUNDING_DB)
    return BurstStep(level_db_spl=level, bands=together)


def most_steps(
    bands: Sequence[Band], *, lowest_db_spl: float, compression_db: float, references: int = 0
) -> Iterator[BurstStep]:
    """More than can ever be played: every level of the grid with every band that may still need it, and once more
    without any, for those that are played twice. The references that are missing come first.

    compression_db   that a band may lose before it ends: by so much its peak may fall behind the level
    """
    still = [index for index, band in enumerate(bands) if not band.unheard]
    for _ in range(references, REFERENCES):
        yield BurstStep(level_db_spl=lowest_db_spl, bands=tuple(still))
    tops = {index: _last_db_spl(bands[index], compression_db) for index in still}
    top = max(tops.values(), default=lowest_db_spl)
    for step in range(1, math.floor(top - lowest_db_spl + ROUNDING_DB) + 1):
        level = round(lowest_db_spl + step * FINE_DB, 2)
        there = tuple(
            index
            for index in still
            if level <= tops[index] + ROUNDING_DB and level > (bands[index].clean_db_spl or -math.inf) + ROUNDING_DB
        )
        if there:
            yield BurstStep(level_db_spl=level, bands=there)
            yield BurstStep(level_db_spl=level, bands=())


def _last_db_spl(band: Band, compression_db: float) -> float:
    """The highest level at which a band can be played, as it may lose `compression_db` and a step's reading more."""
    ended = math.inf if band.failed_db_spl is None else band.failed_db_spl
    return min(band.drive_top_db_spl, band.most_peak_db - band.gain_db + compression_db + FINE_DB, ended)


def bands_after(
    judged: Iterable[Judged], limits: BurstLimits, bands: Sequence[Band], *, calibrated: bool = True
) -> tuple[Band, ...]:
    """`bands` with what every level says of them, from the quietest up.

    calibrated   peaks are sound pressure levels, which a ceiling can be held against
    """
    found = {round(band.frequency_hz, 6): band for band in bands}
    for level in judged:
        faults, near = level.faults(limits), level.near(limits)
        for index, frequency_hz in enumerate(level.frequency_hz.tolist()):
            band = found.get(round(frequency_hz, 6))
            if band is None:
                continue
            found[round(frequency_hz, 6)] = band.told(
                level.level_db_spl,
                fault=bool(faults[index]),
                near=bool(near[index]),
                peak_db=float(level.peak_db[index]) if calibrated else math.nan,
                clear=bool(level.clear[index]),
            )
    return tuple(found[round(band.frequency_hz, 6)] for band in bands)


def rest_after_s(energy_s: float, *, reference_energy_s: float) -> float:
    """How long the loudspeaker rests after a recording: 8 s for the energy of the quietest level's sweep, longer
    in proportion for more, and never less. On average it is then fed no more than by that sweep every 8 s.

    energy_s   seconds of a sine of full scale that have the same energy
    """
    return LEAST_REST_S * max(1.0, energy_s / reference_energy_s)
