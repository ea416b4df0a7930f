"""Whether a claim is true of a made loudspeaker although its family did not put it there: ripple has peaks, too."""

import numpy as np

from tests.families.devices import HIGHEST_ORDER, Device, Slow
from tests.families.drawing import Case
from tests.families.filters import FloatArray
from tests.families.held_orders import rise_db

LEAST_RESPONSE_DB = 1.0
"""A peak or dip of the true response, over its flanks, from which it may be called one."""

LEAST_SOURCE_DB = 1.5
"""A rise of the true source curve of an order, over its flanks, from which it may be called made there."""

LEAST_CHANGE_DB = 0.03
"""A true change with level from which it may be told: above what the tables resolve."""

LIMITED_DB = 0.5
"""A true loss from which it may be called limiting."""


def is_true(word: str, place: dict[str, float], case: Case) -> bool:
    """Whether what is said of a place holds for the loudspeaker that was made, by its own equations."""
    device, at_hz = list(case.devices.values())[-1], place["frequency_hz"]
    if word == "resonance":
        return abs(response_rise_db(device, at_hz)) >= LEAST_RESPONSE_DB
    if word == "product-on-peak":
        return max(response_rise_db(device, at_hz * order) for order in range(2, 6)) >= LEAST_RESPONSE_DB
    if word == "loudspeaker-generated":
        return max(source_rises_db(device, at_hz, case.levels[-1])) >= LEAST_SOURCE_DB
    if word == "unpredicted-by-orders":
        return any(isinstance(one, Slow) for one in (*device.ways, *device.absorbers, device.limiter))
    least_db = {"compression": -LEAST_CHANGE_DB, "limiting": -LIMITED_DB, "expansion": LEAST_CHANGE_DB}
    if word not in least_db:
        return False
    change_db = most_changed_db(device, place, case.levels, falls=word != "expansion")
    return change_db <= least_db[word] if word != "expansion" else change_db >= least_db[word]


def response_rise_db(device: Device, at_hz: float) -> float:
    """Of the true response over its flanks, dB: of a peak if there is one, else of a dip (negative)."""
    grid = _around(at_hz)
    curve = device.steady_db(grid, 61.0)[0]  # where everything is linear
    up, down = rise_db(grid, curve, at_hz), rise_db(grid, -curve, at_hz)
    return up if up >= down else -down


def source_rises_db(device: Device, at_hz: float, level_db_spl: float) -> list[float]:
    """Of every order: the rise over its flanks of its true level, and of that less the true response at n f: the
    smaller, dB. A peak at n f lifts the first alone, a dip at n f, from which products are free, the second alone."""
    grid = _around(at_hz)
    orders = device.steady_db(grid, level_db_spl)
    audible = orders.max(axis=1) > 0.0  # dB SPL: below, there is no order
    rises = []
    for order in range(2, HIGHEST_ORDER + 1):
        level_db = orders[order - 1]
        path_db = device.steady_db(order * grid, 61.0)[0]
        both = min(rise_db(grid, level_db, at_hz), rise_db(grid, level_db - path_db, at_hz))
        rises.append(both if audible[order - 1] else 0.0)
    return rises


def most_changed_db(device: Device, place: dict[str, float], levels: tuple[float, ...], *, falls: bool) -> float:
    """The largest true change with level within a place, to the side asked for, dB."""
    grid = np.geomspace(place["low_hz"], place["high_hz"] * 1.0001, 25)
    change = device.steady_db(grid, levels[-1])[0] - device.steady_db(grid, levels[0])[0] - (levels[-1] - levels[0])
    return float(change.min() if falls else change.max())


def _around(at_hz: float) -> FloatArray:
    return np.asarray(at_hz * 2.0 ** np.linspace(-1.0, 1.0, 97))
