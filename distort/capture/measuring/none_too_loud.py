"""Whether something on record forbids to play on: once said, it is said again until that recording is rejected."""

from collections.abc import Mapping, Sequence

from distort.capture.measuring.third_octaves import LOUDER_DB, ThirdOctaves, louder
from distort.errors import TooLoudError
from distort.session.recordings.stored import Recording


def require_none_too_loud(
    recordings: Sequence[Recording], answers: Mapping[float, ThirdOctaves], condition: str
) -> None:
    """Hold what is on record of a condition against what it was allowed to be.

    What any kind of stimulus said while it was played stands in its sidecar. Sweeps are held against the lowest of
    them besides: they may have been brought in.

    answers   of the sweeps among them, by nominal level

    Raises TooLoudError when a recording in use stopped the measurement, or a sweep gave more than its drive asked.
    """
    for one in recordings:
        if one.sidecar.stopped is not None and one.sidecar.rejected is None:
            raise TooLoudError(
                f"nothing louder is played: {condition}/{one.sidecar.name.stem} {one.sidecar.stopped}. Find out why, "
                f"then reject that recording"
            )
    for level, answer in answers.items():
        found = louder(answer, answers[min(answers)])
        if found is not None and found.by_db > LOUDER_DB:
            raise TooLoudError(
                f"nothing louder is played: {condition}/sweep_{level:g}dB is {found.by_db:.1f} dB louder about "
                f"{found.at_hz:.0f} Hz than its drive asks for, held against sweep_{min(answers):g}dB. Find out why, "
                f"then reject that recording"
            )
