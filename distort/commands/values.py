"""Numbers on the command line, checked where they are read."""

import argparse
import math
import os
from pathlib import Path

from distort.errors import shown

LONGEST_NAME = 255
"""Bytes of a file's or folder's name (NAME_MAX of Linux and macOS, from memory)."""
LONGEST_PATH = 4096
"""Characters of a whole path (PATH_MAX of Linux, from memory)."""


def finite(text: str) -> float:
    """A number that is neither infinite nor "nan". Raises ArgumentTypeError, which argparse turns into a sentence."""
    try:
        value = float(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{shown(text)} is not a number") from error
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{shown(text)} is not a finite number")
    return value


def positive(text: str) -> float:
    """A finite number above zero. Raises ArgumentTypeError."""
    value = finite(text)
    if value <= 0:
        raise argparse.ArgumentTypeError(f"{shown(text)} is not above 0")
    return value


def channel(text: str) -> int:
    """The number of a channel, counted from 1. Raises ArgumentTypeError."""
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{shown(text)} is not a channel: they are counted 1, 2, 3 ...")
    return int(text)


def jobs(text: str) -> int:
    """How many processes, from 1. Raises ArgumentTypeError."""
    if not (text.isascii() and text.isdecimal()) or not 1 <= int(text[:5]) <= 9999:
        raise argparse.ArgumentTypeError(f"{shown(text)} is no number of processes: say 1, 2, 3 ...")
    return int(text)


def block(text: str) -> int:
    """Samples of a block, 16 to 65536. Raises ArgumentTypeError."""
    if not text.isdecimal() or not 16 <= int(text) <= 65536:
        raise argparse.ArgumentTypeError(f"{shown(text)} is no size of a block: a whole number from 16 to 65536")
    return int(text)


def whole_rate(text: str) -> int:
    """A sample rate in whole hertz, 8000 to 768000. Raises ArgumentTypeError."""
    if not text.isdecimal() or not 8000 <= int(text) <= 768000:
        raise argparse.ArgumentTypeError(f"{shown(text)} is no sample rate in Hz, such as 48000")
    return int(text)


def path(text: str) -> Path:
    """The name of a file or folder. Raises ArgumentTypeError for one that no system has.

    Also for an empty one, which would mean the current folder.
    """
    if not text.strip():
        raise argparse.ArgumentTypeError("the name is empty")
    found = Path(text)
    if len(text) > LONGEST_PATH or any(len(os.fsencode(part)) > LONGEST_NAME for part in found.parts):
        raise argparse.ArgumentTypeError(f"{shown(text)} is longer than the name of any file or folder")
    return found
