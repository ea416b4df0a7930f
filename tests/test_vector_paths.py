"""Paths made short draw what they drew: read again as SVG 1.1, 8.3, says, every point lies where it lay, in tenths."""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from distort.report.page.vector_paths import POINTS, short_paths

PLACES = st.tuples(*[st.integers(-9_999_999, 9_999_999)] * 2)  # in ten-thousandths


def written(path) -> str:
    """As matplotlib writes a path: absolute letters, a line each."""
    return "".join(
        f"{letter} {' '.join(f'{x / 1e4:.7g} {y / 1e4:.7g}' for x, y in points)}\n" for letter, points in path
    )


def drawn(path: str) -> list[tuple[str, list[tuple[float, float]]]]:
    """A path's letters and absolute points, as whoever draws it reads it: a small letter's points are re the pen, a
    closing brings the pen back to the last move, and a letter holds until the next; after a move that is a line."""
    found, pen, beginning, letter = [], np.zeros(2), np.zeros(2), ""
    parts = re.findall(r"[A-Za-z]|-?[0-9]*\.?[0-9]+", path)
    while parts:
        if parts[0].isalpha():
            letter = parts.pop(0)
        if letter == "z":
            pen = beginning
            found.append(("z", []))
            continue
        count = 2 * POINTS[letter.upper()]
        points = np.reshape([float(each) for each in parts[:count]], (-1, 2)) + (pen if letter.islower() else 0.0)
        parts, pen = parts[count:], points[-1]
        if letter == "M":
            beginning = pen
        found.append((letter.upper(), [tuple(point) for point in points.tolist()]))
        letter = {"M": "L"}.get(letter, letter)
    return found


@st.composite
def paths(draw) -> list[tuple[str, list[tuple[int, int]]]]:
    letters = ["M", *draw(st.lists(st.sampled_from(sorted(POINTS)), max_size=12))]
    return [(letter, [draw(PLACES) for _ in range(POINTS[letter])]) for letter in letters]


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(paths(), min_size=1, max_size=4))
def test_every_point_lies_where_it_lay(some) -> None:
    """Within half of a tenth and what sums of steps round (here 1e4 over 2^53 a step)."""
    for given_path, short in zip(some, short_paths([written(one) for one in some]), strict=True):
        again = drawn(short)
        assert [letter for letter, _ in again] == [letter for letter, _ in given_path]
        for (_, there), (_, then) in zip(again, given_path, strict=True):
            np.testing.assert_allclose(np.reshape(there, (-1, 2)), np.reshape(then, (-1, 2)) / 1e4, atol=0.05 + 1e-9)


@pytest.mark.parametrize(
    ("path", "short"),
    [
        ("M 61.2 147.96 \nL 61.2 72.72 \n", "M61.2 148l0-75.3"),
        ("M 0 0 \nL 10 0 \nL 10 0.31 \nz\nM 5 5 \nL 5 4 \n", "M0 0l10 0 0 .3zM5 5l0-1"),
        ("M 1 2 \nz\nL 3 4 \nL 3 5 \n", "M1 2zL3 4l0 1"),
        ("M 0 1.5 \nC 1 1.5 2 2.5 2 3 \nC 2 4 1 5 0 5 \n", "M0 1.5c1 0 2 1 2 1.5 0 1-1 2-2 2"),
        ("M 7 7 \nQ 8 7 8 8 \nL 8 9 \n", "M7 7q1 0 1 1l0 1"),
        ("M 0.04 -0.04 \n", "M0 0"),
    ],
)
def test_a_path_becomes_short(path, short) -> None:
    """Counted by hand: a letter that goes on is not said again, a minus parts two numbers, no nought stands before a
    point."""
    assert short_paths([path]) == [short]


def test_what_is_no_such_path_stays_as_it_is() -> None:
    """None, arcs, steps, numbers with a power of ten."""
    others = ["", "M 0 0 A 5 5 0 0 1 3 3", "m 0 0 l 1 1", "M 0 0 L 1e-5 2", "L 0.123 4"]
    assert short_paths([others[0], "M 1.04 2 \n", *others[1:]]) == [others[0], "M1 2", *others[1:]]
    assert short_paths(others) == others
    assert short_paths([]) == []
