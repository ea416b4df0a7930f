"""What sounded in a recording at a time, as findings.json has it."""

from dataclasses import dataclass

from distort.analysis.sweep.touched import EventInTime


@dataclass(frozen=True, kw_only=True)
class EventFound:
    """An event, and the recording that holds it."""

    file: str
    """Relative to the session."""
    level_db_spl: float
    """Nominal."""
    loudest_db_spl: float | None
    """Sound pressure level at the microphone, of its loudest moment; None without a calibration."""
    event: EventInTime
