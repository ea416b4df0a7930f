"""What is said of something that sounded at a time while a sweep was recorded."""

from collections.abc import Iterator, Sequence

from distort.analysis.sweep.touched import Touched
from distort.report.text.numbers import hertz_words
from distort.session.results.events_found import EventFound


def event_sentences(found: EventFound) -> Iterator[str]:
    """When it was, how loud, and which results it touches; then what to do."""
    event = found.event
    level = f"{event.level_dbfs:.0f} dBFS" if found.loudest_db_spl is None else f"{found.loudest_db_spl:.0f} dB SPL"
    yield (
        f"Something sounded from {event.start_s:.1f} to {event.end_s:.1f} s, while the sweep passed "
        f"{hertz_words(event.low_hz)} to {hertz_words(event.high_hz)}, that the loudspeaker did not make: up to "
        f"{level} at the microphone."
    )
    if event.touched:
        yield f"It reaches within 10 dB of {_curves(event.touched)}, which are marked: reject it and record it again."
    else:
        yield "It stays more than 10 dB below every curve of this recording, so nothing need be repeated."


def _curves(touched: Sequence[Touched]) -> str:
    """Each order with where its stretches begin and end."""
    of_each: dict[int, list[Touched]] = {}
    for one in touched:
        of_each.setdefault(one.order, []).append(one)
    return ", ".join(
        f"{'the fundamental' if order == 1 else f'H{order}'} ({_stretch(stretches)})"
        for order, stretches in of_each.items()
    )


def _stretch(touched: Sequence[Touched]) -> str:
    low_hz, high_hz = min(one.low_hz for one in touched), max(one.high_hz for one in touched)
    return hertz_words(low_hz) if low_hz == high_hz else f"{hertz_words(low_hz)} to {hertz_words(high_hz)}"
