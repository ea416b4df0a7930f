"""What is said of what recordings hold that the loudspeaker did not make."""

from collections.abc import Iterator, Sequence

from distort.analysis.sweep.touched import Touched
from distort.report.text.numbers import hertz_words, level_name
from distort.session.results.foreign_found import EventFound, Foreign, ImageFound


def foreign_sentences(found: Foreign) -> Iterator[str]:
    """Everything of one recording."""
    for event in found.events:
        yield from event_sentences(event)
    yield from image_sentences(found.images)


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


def image_sentences(found: Sequence[ImageFound]) -> Iterator[str]:
    """Where the images of a conversion are, how strong, which results they touch, and what to do; nothing where there
    are none."""
    if not found:
        return
    strongest = {
        offset_hz: max(one.image.highest_db for one in found if one.image.offset_hz == offset_hz)
        for offset_hz in dict.fromkeys(one.image.offset_hz for one in found)
    }
    places = ", ".join(f"{offset_hz:.0f} Hz ± f ({db:.0f} dB)" for offset_hz, db in strongest.items())
    yield (
        f"A poor conversion of the sample rate left images of the sweep at {places}: for every "
        f"frequency f at most so much re the fundamental, at every level alike."
    )
    highest = max(level.level_db_spl for one in found for level in one.levels)
    touched = [each for one in found for level in one.levels if level.level_db_spl == highest for each in level.touched]
    if touched:
        yield f"At {level_name(highest)} dB SPL they reach within 10 dB of {_curves(touched)}, which are marked."
    yield "Set player, operating system and recorder to the sample rate of the stimulus, and record again."


def _curves(touched: Sequence[Touched]) -> str:
    """Each order with where its stretches begin and end."""
    of_each: dict[int, list[Touched]] = {}
    for one in sorted(touched, key=lambda each: each.order):
        of_each.setdefault(one.order, []).append(one)
    return ", ".join(
        f"{'the fundamental' if order == 1 else f'H{order}'} ({_stretch(stretches)})"
        for order, stretches in of_each.items()
    )


def _stretch(touched: Sequence[Touched]) -> str:
    low_hz, high_hz = min(one.low_hz for one in touched), max(one.high_hz for one in touched)
    return hertz_words(low_hz) if low_hz == high_hz else f"{hertz_words(low_hz)} to {hertz_words(high_hz)}"
