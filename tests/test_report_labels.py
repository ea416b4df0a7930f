"""Labels beside curves: on no curve, on no other label, nearest to their own, and left out where that cannot be had."""

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text

from distort.report.figures.labels import Labelled, label_beside_curves
from tests.report_examples import FREQUENCY_HZ


@pytest.fixture
def axes() -> Axes:
    made = Figure(figsize=(8, 5), dpi=100).add_axes((0.1, 0.1, 0.8, 0.8))
    made.set_xscale("log")
    made.set_xlim(20, 20000)
    made.set_ylim(-100, 0)
    return made


def curve(name: str, level_db: float | np.ndarray) -> Labelled:
    return Labelled(
        name=name, colour="#000000", frequency_hz=FREQUENCY_HZ, level_db=np.zeros_like(FREQUENCY_HZ) + level_db
    )


def distance(axes: Axes, text: Text, line: Labelled) -> float:
    """Pixels by which a curve misses a label's box, upwards or downwards; negative where it runs through."""
    box = text.get_window_extent()
    points = axes.transData.transform(np.column_stack([line.frequency_hz, line.level_db]))
    beside = points[(points[:, 0] > box.x0) & (points[:, 0] < box.x1)]
    return float(np.min(np.maximum(box.y0 - beside[:, 1], beside[:, 1] - box.y1)))


@pytest.mark.parametrize("apart_db", [8.0, 12.0, 25.0])
def test_a_label_stands_by_its_own_curve_and_on_none(axes, apart_db) -> None:
    wave = 3.0 * np.sin(4.0 * np.log(FREQUENCY_HZ))
    curves = [curve(name, -20.0 - apart_db * index + wave) for index, name in enumerate(("2", "3", "4"))]
    assert label_beside_curves(axes, curves) == []
    texts = {text.get_text(): text for text in axes.texts}
    for own in curves:
        near = distance(axes, texts[own.name], own)
        assert near > 0
        assert all(distance(axes, texts[own.name], other) > near for other in curves if other is not own)


def test_labels_of_one_and_the_same_place_do_not_overlap(axes) -> None:
    """Two curves that run apart by 5 dB from 3 kHz only leave room for both names there alone, above and below."""
    parted = np.where(FREQUENCY_HZ > 3000, 2.5, 0.0)
    label_beside_curves(axes, [curve("first", -50.0 + parted), curve("second", -50.0 - parted)])
    boxes = [text.get_window_extent() for text in axes.texts]
    assert len(boxes) == 2
    assert not boxes[0].overlaps(boxes[1])


def test_labels_between_two_curves_stand_beside_each_other(axes) -> None:
    """The upper name has no room but under its curve, the lower one looks above its own first: between them is one."""
    assert label_beside_curves(axes, [curve("upper", -2.0), curve("lower", -8.5)]) == []
    upper, lower = (text.get_window_extent() for text in axes.texts)
    assert not upper.overlaps(lower)


def test_other_lines_are_not_covered(axes) -> None:
    low, high = curve("", -47.5), curve("", -52.5)
    label_beside_curves(axes, [curve("THD", -50.0)], avoid=[low, high])
    for text in axes.texts:
        assert distance(axes, text, low) > 0
        assert distance(axes, text, high) > 0


def test_a_name_without_a_place_is_left_out_and_told(axes) -> None:
    curves = [curve(str(number), -50.0 - 0.3 * number) for number in range(5)]
    homeless = label_beside_curves(axes, curves)
    assert {"1", "2", "3"} <= set(homeless)
    assert {text.get_text() for text in axes.texts} == {"0", "1", "2", "3", "4"} - set(homeless)


def test_two_labels_never_share_a_place(axes) -> None:
    same = curve("first", -50.0), curve("second", -50.0)
    assert label_beside_curves(axes, same) == ["first", "second"], "nobody could tell whose name it is"


def test_a_curve_that_is_nowhere_drawn_has_no_label(axes) -> None:
    assert label_beside_curves(axes, [curve("10", np.nan), curve("2", -50.0)]) == ["10"]
    assert [text.get_text() for text in axes.texts] == ["2"]
