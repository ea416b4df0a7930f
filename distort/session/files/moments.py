"""Moments as files state them: ISO 8601 in UTC, to the second."""

from datetime import UTC, datetime


def now_utc() -> str:
    """This moment as ISO 8601 in UTC, to the second."""
    return iso_utc(datetime.now(UTC))


def iso_utc(moment: datetime) -> str:
    """`moment`, which knows its zone, as ISO 8601 in UTC, to the second."""
    return moment.astimezone(UTC).replace(microsecond=0).isoformat()
