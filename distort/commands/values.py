"""What the command line's words mean: numbers, paths, a session and its condition; each checked where it is read."""

import argparse
import math
import os
import re
from pathlib import Path

from distort.errors import shown

MOST_DECIBELS = 100.0

_NUMBER = re.compile(r"[-+]?[0-9]{1,9}[.][0-9]{1,9}")


LONGEST_S = 3600.0

LONGEST_NAME = 255
"""Bytes of a file's or folder's name (NAME_MAX of Linux and macOS, from memory)."""


LONGEST_PATH = 4096
"""Characters of a whole path (PATH_MAX of Linux, from memory)."""


MOST_FOLDERS = 200
"""Within one another: deeper ones take more of Python's own stack than it has."""


def finite(text: str) -> float:
    """A number that is neither infinite nor "nan". Raises ArgumentTypeError, which argparse turns into a sentence."""
    try:
        value = float(text)
    except ValueError as error:
        point = text.strip().replace(",", ".")
        meant = f": write {point}, with a point" if _NUMBER.fullmatch(point) else ""
        raise argparse.ArgumentTypeError(f"{shown(text)} is not a number{meant}") from error
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{shown(text)} is not a finite number")
    return value


def positive(text: str) -> float:
    """A finite number above zero. Raises ArgumentTypeError."""
    value = finite(text)
    if value <= 0:
        raise argparse.ArgumentTypeError(f"{shown(text)} is not above 0")
    return value


def decibels(text: str) -> float:
    """A number of decibels above zero, up to 100. Raises ArgumentTypeError."""
    value = positive(text)
    if value > MOST_DECIBELS:
        raise argparse.ArgumentTypeError(f"{shown(text)} dB is above {MOST_DECIBELS:g} dB")
    return value


def duration(text: str) -> float:
    """A time in seconds, up to an hour. Raises ArgumentTypeError."""
    value = positive(text)
    if value > LONGEST_S:
        raise argparse.ArgumentTypeError(f"{shown(text)} s is more than an hour")
    return value


def channel(text: str) -> int:
    """The number of a channel, counted from 1. Raises ArgumentTypeError."""
    return _whole(text, 1, 9999, "is not a channel: they are counted 1, 2, 3 ...")


def jobs(text: str) -> int:
    """How many processes, from 1. Raises ArgumentTypeError."""
    return _whole(text, 1, 9999, "is no number of processes: say 1, 2, 3 ...")


def block(text: str) -> int:
    """Samples of a block, 16 to 65536 (`capture.devices.card_refusals`). Raises ArgumentTypeError."""
    return _whole(text, 16, 65536, "is no size of a block: a whole number from 16 to 65536")


def whole_rate(text: str) -> int:
    """A sample rate in whole hertz, 8000 to 768000. Raises ArgumentTypeError."""
    return _whole(text, 8000, 768000, "is no sample rate in Hz, such as 48000")


def _whole(text: str, low: int, high: int, otherwise: str) -> int:
    # the length first: Python refuses to read thousands of digits
    if not (text.isascii() and text.isdecimal()) or len(text) > 9 or not low <= int(text) <= high:
        raise argparse.ArgumentTypeError(f"{shown(text)} {otherwise}")
    return int(text)


def path(text: str) -> Path:
    """The name of a file or folder. Raises ArgumentTypeError for one that no system has.

    Also for an empty one, which would mean the current folder.
    """
    if not text.strip():
        raise argparse.ArgumentTypeError("the name is empty")
    found = Path(text)
    too_long = len(text) > LONGEST_PATH or len(found.parts) > MOST_FOLDERS
    if too_long or any(len(os.fsencode(part)) > LONGEST_NAME for part in found.parts):
        raise argparse.ArgumentTypeError(f"{shown(text)} is longer than the name of any file or folder")
    return found


def session_and_condition(text: str) -> tuple[Path, str | None]:
    """The folder and the condition that a word of the command line names; None: it names no condition.

    A folder whose own name holds a colon is meant as it stands, and so is a path that goes on after it. Raises
    ArgumentTypeError for an empty name, or a colon without a condition.
    """
    folder, colon, condition = text.rpartition(":")
    if not colon or "/" in condition or "\\" in condition or os.path.lexists(path(text)):
        return path(text), None
    if not condition.strip():
        raise argparse.ArgumentTypeError(f"{shown(text)} names no condition behind the colon")
    return path(folder), condition
