"""What the recordings hold that the loudspeaker did not make, as findings.json has it."""

from collections.abc import Iterable
from dataclasses import dataclass

from distort.analysis.sweep.images import ConversionImage
from distort.analysis.sweep.touched import EventInTime, Touched


@dataclass(frozen=True, kw_only=True)
class EventFound:
    """Something that sounded at a time, and the recording that holds it."""

    file: str
    """Relative to the session."""
    level_db_spl: float
    """Nominal."""
    loudest_db_spl: float | None
    """Sound pressure level at the microphone, of its loudest moment; None without a calibration."""
    event: EventInTime


@dataclass(frozen=True, kw_only=True)
class LevelTouched:
    """What is touched of the curves of a nominal level."""

    level_db_spl: float
    touched: tuple[Touched, ...]


@dataclass(frozen=True, kw_only=True)
class ImageFound:
    """An image that a conversion of the sample rate left, and the recording in which it was found."""

    file: str
    """Relative to the session."""
    image: ConversionImage
    levels: tuple[LevelTouched, ...]
    """It is in all recordings alike, so in the curves of every level."""


@dataclass(frozen=True, kw_only=True)
class Foreign:
    """All of a condition, or of one recording."""

    events: tuple[EventFound, ...] = ()
    images: tuple[ImageFound, ...] = ()

    @property
    def any(self) -> bool:
        """Whether there is something."""
        return bool(self.events or self.images)

    def touched_at(self, level_db_spl: float) -> tuple[Touched, ...]:
        """What is touched of the curves of one nominal level."""
        return (
            *_touched(
                (LevelTouched(level_db_spl=one.level_db_spl, touched=one.event.touched) for one in self.events),
                level_db_spl,
            ),
            *_touched((level for one in self.images for level in one.levels), level_db_spl),
        )


def _touched(levels: Iterable[LevelTouched], level_db_spl: float) -> Iterable[Touched]:
    return (touched for one in levels if one.level_db_spl == level_db_spl for touched in one.touched)
