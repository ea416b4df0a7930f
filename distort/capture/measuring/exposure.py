"""How much of a day's permitted sound exposure a number of stimuli make, for who stays at 1 m without protection.

    T(L) = 8 h / 2^((L - 85) / 3)        permitted a day at L dB(A) (NIOSH publication 98-126, table 1-1)
    D = sum of t_i / T(L_i)              share of the day, t_i the seconds of a stimulus at its nominal level L_i

Levels are taken as if they were A-weighted, and a burst series as if it sounded throughout: both state too much rather
than too little. A desk, a wall or a room adds to what stands here; local rules come first.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from distort.session.files.folder import SessionFolder
from distort.session.recordings.sidecar import Sidecar
from distort.session.recordings.sounded import Sounded, read_sounded
from distort.session.recordings.stored import load_recordings
from signals import Stimulus

CRITERION_DB_A, CRITERION_H, EXCHANGE_DB = 85.0, 8.0, 3.0
"""Recommended exposure limit of NIOSH (publication 98-126): 85 dB(A) for 8 hours, half of that time for 3 dB more."""


def permitted_hours(level_db_spl: float) -> float:
    """Hours a day at this level, dB(A)."""
    return float(CRITERION_H / 2.0 ** ((level_db_spl - CRITERION_DB_A) / EXCHANGE_DB))


def sounding_s(stimulus: Stimulus) -> float:
    """How long a stimulus sounds, without the silences around it."""
    return stimulus.n_samples / stimulus.sample_rate


def share_of_day(played: Iterable[tuple[float, float]]) -> float:
    """D of `(level in dB SPL, seconds)` each; 1 is all that is permitted."""
    return sum(seconds / (3600.0 * permitted_hours(level_db_spl)) for level_db_spl, seconds in played)


@dataclass(frozen=True, kw_only=True)
class DayExposure:
    """What has sounded on one date in one session."""

    date: str
    """As the recordings have it: YYYY-MM-DD."""
    recordings: int
    not_kept: int = 0
    """What was broken off besides, or was no good and is no recording."""
    share: float
    """Of what is permitted a day, at 1 m."""

    def left_s(self, level_db_spl: float) -> float:
        """Seconds that are left at a level; 0 where nothing is."""
        return max(1.0 - self.share, 0.0) * 3600.0 * permitted_hours(level_db_spl)


def day_of(folder: SessionFolder) -> DayExposure | None:
    """Of everything that was played for a session. Raises SessionError for a file that cannot be trusted."""
    recorded = [one.sidecar for name in folder.conditions_recorded() for one in load_recordings(folder, name)]
    return last_day(recorded, read_sounded(folder))


def last_day(recorded: Sequence[Sidecar], sounded: Sequence[Sounded] = ()) -> DayExposure | None:
    """Of the latest date among them, rejected ones included, since they have sounded; None where nothing real was
    played.

    sounded   of what this program played: what is not kept counts as far as it came

    The date is that of the recorder's own clock where it is known, else of the computer's, in UTC.
    """
    kept = [(_date_of(one), one.level_db_spl, sounding_s(one.stimulus)) for one in recorded if not one.simulated]
    not_kept = [(one.began[:10], one.level_db_spl, one.seconds) for one in sounded if not (one.kept or one.simulated)]
    if not kept + not_kept:
        return None
    last = max(date for date, _, _ in kept + not_kept)
    return DayExposure(
        date=last,
        recordings=sum(date == last for date, _, _ in kept),
        not_kept=sum(date == last for date, _, _ in not_kept),
        share=share_of_day((level, seconds) for date, level, seconds in kept + not_kept if date == last),
    )


def _date_of(sidecar: Sidecar) -> str:
    began = None if sidecar.original is None else sidecar.original.began
    return (began or sidecar.date)[:10]
