"""The errors that a caller may want to tell apart. Every message says what is wrong, where, and what to do."""

from collections.abc import Iterable

MOST_SHOWN = 80
"""Characters of a wrong value in an error: enough to find it by, and what is wrong with it is still read."""


class DistortError(Exception):
    """Base of all errors that this package raises on purpose; the command line ends with status 1."""


class PlanError(DistortError):
    """session.toml does not say what it must, or says what it cannot mean."""


class SessionError(DistortError):
    """A session folder lacks a file, holds one that cannot be read, or cannot be written."""


class RecordingError(DistortError):
    """A recording cannot be trusted or read: not audio, silent, truncated, clipped, of another stimulus."""


class CutOffError(RecordingError):
    """A recording begins after its stimulus did, or ends before it."""


class WrongStimulusError(RecordingError):
    """A recording holds another stimulus than the one named."""


class AnalysisError(DistortError):
    """The recordings do not allow the result that was asked for."""


class CalibrationError(DistortError):
    """A calibrator recording does not hold a steady tone that sets a level."""


class UsageError(DistortError):
    """A command was given words that do not go together; the command line ends with status 2."""


class DeviceError(DistortError):
    """No sound card can be used, or it does not offer what was asked of it."""


class StoppedError(DistortError):
    """Playing was stopped because going on might hurt: nothing is played again before somebody asks for it."""


class TooLoudError(StoppedError):
    """The microphone hears more than was expected."""


class DeafError(StoppedError):
    """The microphone hears nothing of what is played, so that nobody would notice what is too loud."""


class PausedError(StoppedError):
    """The computer slept, the program was stopped or the sound card hung: whoever was there may have gone near."""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """`" (did you mean X?)"` for the word of `known` that is nearest to `word`, or nothing when none is near."""
    from difflib import get_close_matches  # a program that makes no error needs none

    near = get_close_matches(word[:MOST_SHOWN], list(known), n=1, cutoff=0.55)
    return f" (did you mean {near[0]}?)" if near else ""


def shown(value: object) -> str:
    """`value` as Python spells it, with its middle left out where that takes more than MOST_SHOWN characters."""
    try:
        written = repr(value)
    except ValueError:  # Python spells no whole number of thousands of digits: it would take minutes
        return "a number of thousands of digits"
    if len(written) <= MOST_SHOWN:
        return written
    length = len(value) if isinstance(value, str) else len(written)
    return f"{written[: MOST_SHOWN // 2]}...{written[-MOST_SHOWN // 4 :]} ({length:,} characters)"
