"""Words on the command line that stand for more than one number, and checks of single ones."""

import argparse
import itertools
import math


def finite(text: str) -> float:
    """A number that is neither infinite nor "nan". Raises ArgumentTypeError, which argparse turns into a sentence."""
    try:
        value = float(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number") from error
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{text!r} is not a finite number")
    return value


def positive(text: str) -> float:
    """A finite number above zero. Raises ArgumentTypeError."""
    value = finite(text)
    if value <= 0:
        raise argparse.ArgumentTypeError(f"{text!r} is not above 0")
    return value


def channel(text: str) -> int:
    """The number of a channel, counted from 1. Raises ArgumentTypeError."""
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a channel: they are counted 1, 2, 3 ...")
    return int(text)


def levels(text: str) -> tuple[float, ...]:
    """Levels in dB SPL from "76,86,96,102", or from "first:last:step" such as "90:102:1.5"; the last is included.

    Raises ArgumentTypeError when they are no numbers, do not rise, or the step does not lead from first to last.
    """
    values = _ladder(text) if ":" in text else tuple(finite(each) for each in text.split(","))
    if any(later <= earlier for earlier, later in itertools.pairwise(values)):
        raise argparse.ArgumentTypeError(f"{text!r}: levels must rise from the quietest to the loudest")
    return values


def _ladder(text: str) -> tuple[float, ...]:
    parts = text.split(":")
    if len(parts) != 3:
        raise argparse.ArgumentTypeError(f"{text!r} is not first:last:step, such as 90:102:1.5")
    first, last, step = finite(parts[0]), finite(parts[1]), positive(parts[2])
    steps = (last - first) / step
    if steps < 0 or not math.isclose(steps, round(steps), abs_tol=1e-6):  # far below what a step is written with
        raise argparse.ArgumentTypeError(f"{text!r}: steps of {step:g} dB do not lead from {first:g} to {last:g}")
    return tuple(round(first + step * index, 6) for index in range(round(steps) + 1))


def names(text: str) -> tuple[str, ...]:
    """Names with commas between: "stand,desk". Raises ArgumentTypeError when one is empty or given twice."""
    given = tuple(each.strip() for each in text.split(","))
    if not all(given):
        raise argparse.ArgumentTypeError(f"{text!r} holds an empty name")
    if len(set(given)) != len(given):
        raise argparse.ArgumentTypeError(f"{text!r} holds a name twice")
    return given
