"""Paths of a vector file made short: tenths, and every point as its step from where the pen is.

All paths of a file are shortened at once, since most of them have a few points only.
"""

import re
from collections.abc import Sequence
from functools import cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

IntArray = npt.NDArray[np.int64]
Letters = npt.NDArray[np.uint8]

POINTS = {"M": 1, "L": 1, "Q": 2, "C": 3, "z": 0}
"""How many points follow a letter: a move, a line, curves with one and two control points, closing (SVG 1.1, 8.3)."""

_OTHER = re.compile(r"[^MLQCz0-9.\s-]")
"""What no path holds that can be shortened here; matplotlib writes none of it."""

_COUNTS = np.zeros(256, dtype=np.int64)
_COUNTS[[ord(letter) for letter in POINTS]] = list(POINTS.values())
_MOVE, _CLOSING, _FIRST, _BLANK = ord("M"), ord("z"), ord("A"), ord(" ")
_SMALLER = ord("a") - ord("A")


def short_paths(paths: Sequence[str]) -> list[str]:
    """`paths` as matplotlib writes them, shortened; one that holds more than `POINTS`, or does not begin with a move,
    stays as it is.

    Points keep one decimal. Each is rounded before its step is taken, so that no error adds up along a path.
    """
    short = list(paths)
    able = [place for place, path in enumerate(paths) if path.startswith("M") and not _OTHER.search(path)]
    if able:
        for place, text in zip(able, _shortened([paths[place] for place in able]), strict=True):
            short[place] = text
    return short


def _shortened(paths: Sequence[str]) -> list[str]:
    raw = np.frombuffer(" ".join(paths).encode("ascii"), dtype=np.uint8)
    at = np.flatnonzero(raw >= _FIRST)
    letters = raw[at]
    numbers = raw.copy()
    numbers[at] = _BLANK
    tenths = np.rint(10.0 * np.fromstring(numbers.tobytes(), sep=" ")).astype(np.int64).reshape(-1, 2)
    beginning = np.cumsum([0, *(len(path) + 1 for path in paths[:-1])])
    return _written(letters, tenths, np.searchsorted(at, beginning))


def _written(letters: Letters, tenths: IntArray, beginning: IntArray) -> list[str]:
    """The paths, each of which begins at one of `letters` `(letters,)`, with their points `(points, 2)`."""
    steps = np.isin(letters, (_MOVE, _CLOSING), invert=True)
    steps[1:] &= letters[:-1] != _CLOSING  # the pen is back where the figure began, which is not the last point
    shown = letters + np.where(steps, _SMALLER, 0).astype(np.uint8)
    count = _COUNTS[letters]
    end = np.cumsum(count)
    pen = np.repeat(end - count - 1, count)
    placed = tenths - np.where(np.repeat(steps, count)[:, np.newaxis], tenths[pen], 0)
    words = list(map(_tenths, placed.ravel().tolist()))
    said = np.ones(letters.size, dtype=np.bool_)  # a letter that goes on is not said again
    said[1:] = (shown[1:] != shown[:-1]) | ~steps[1:]
    first = np.flatnonzero(said)
    number = np.append(2 * (end - count)[first], len(words)).tolist()
    pieces = [
        f"{chr(letter)}{' '.join(words[a:b])}"
        for letter, (a, b) in zip(shown[first].tolist(), pairwise(number), strict=True)
    ]
    bounds = np.append(np.searchsorted(first, beginning), first.size).tolist()
    return ["".join(pieces[a:b]).replace(" -", "-") for a, b in pairwise(bounds)]


@cache
def _tenths(value: int) -> str:
    """A number of tenths, in as few characters as can be: 1.5, -.3, 2."""
    text = f"{value / 10:.1f}".removesuffix(".0")
    return text.replace("0.", ".") if text.startswith(("0.", "-0.")) else text
