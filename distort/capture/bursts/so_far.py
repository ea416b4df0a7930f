"""How far the bursts of a condition have come, by what is recorded of them."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from distort.analysis.burst_series.judged import BurstLevel, judged_levels
from distort.analysis.burst_series.steps import Band, BurstStep, bands_after, next_step
from distort.analysis.sweep.sweeps import Settings
from distort.errors import UsageError
from distort.recording.bursts import alike_bursts, burst_level
from distort.recording.takes import takes_of_each_level
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import burst_limits, burst_stimulus
from distort.session.recordings.stored import Recording
from signals import as_a
from signals.burst import BurstSeries

BURST = "burst"
"""Name of the recordings."""


@dataclass(frozen=True, kw_only=True)
class SoFar:
    """What is known of every band, and what comes next."""

    lowest_db_spl: float
    bands: tuple[Band, ...]
    references: int
    """Recordings of the quietest level."""
    levels: tuple[BurstLevel, ...] = ()

    def next(self) -> BurstStep | None:
        """None: every band has ended."""
        return next_step(self.bands, lowest_db_spl=self.lowest_db_spl, references=self.references)


@dataclass(frozen=True)
class BurstReader:
    """Reads the bursts of a condition; what it has read once it keeps."""

    settings: Settings
    _read: dict[tuple[str, ...], BurstLevel] = field(default_factory=dict)

    def levels(self, recordings: Sequence[Recording]) -> tuple[BurstLevel, ...]:
        """Of every level and series among the recordings that nobody rejected. Raises as `burst_level`."""
        found = []
        for level_db_spl, takes in takes_of_each_level(recordings, BURST).items():
            for alike in alike_bursts(takes):
                stems = tuple(one.sidecar.name.stem for one in alike)
                if stems not in self._read:
                    self._read[stems] = burst_level(level_db_spl, alike, self.settings)
                found.append(self._read[stems])
        return tuple(found)


def so_far(levels: Sequence[BurstLevel], bands: tuple[Band, ...], plan: Plan) -> SoFar:
    """What `levels`, perhaps none, say of `bands`, which were not played yet."""
    lowest = plan.levels.db_spl[0]
    if levels:
        calibrated = all(one.reference.unit == "db_spl" for one in levels)
        bands = bands_after(judged_levels(levels), burst_limits(plan), bands, calibrated=calibrated)
    references = max((one.takes for one in levels if one.level_db_spl == lowest), default=0)
    return SoFar(lowest_db_spl=lowest, bands=bands, references=references, levels=tuple(levels))


def require_far(plan: Plan) -> None:
    """Raises UsageError in the near field, where nobody knows how loud a burst is at 1 m."""
    if plan.near_field_of is not None:
        raise UsageError(
            f"the microphone stands in the near field, and bursts are held to a peak at 1 m: play them in condition "
            f"{plan.near_field_of}"
        )


def require_same_bursts(recordings: Sequence[Recording], whole: BurstSeries, condition: str) -> None:
    """Raises UsageError where bursts on record are longer or shorter than those of the plan: what a longer one has more
    of energy would be taken for output, and hide compression."""
    for one in recordings:
        series = as_a(BurstSeries, one.sidecar.stimulus)
        if series is not None and one.sidecar.rejected is None and series.periods != whole.periods:
            raise UsageError(
                f"{condition}/{one.sidecar.name.stem} has bursts of {series.periods:g} periods, and [burst] periods is "
                f"{whole.periods:g} now: change it back, or reject the bursts of {condition} and begin anew"
            )


def whole_series(plan: Plan, *, drive_dbfs: float) -> BurstSeries:
    """The bursts of all bands of the plan. Raises UsageError where it has no [burst], and as `burst_stimulus`."""
    series = burst_stimulus(plan, drive_dbfs=drive_dbfs)
    if series is None:
        raise UsageError(
            "session.toml has no section [burst], so no bursts are played: take the # away before its lines, or write "
            "[burst] on a line of its own"
        )
    return series
