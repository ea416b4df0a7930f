"""What of a side in the near field is compared: orders re their fundamental, as far up as it shows what is radiated."""

from dataclasses import replace

from distort.analysis.common.near_field import highest_near_field_hz
from distort.assembly.comparison.side import Side

WHY_NO_FAULTS = "a near field has a response of its own, with other dips and peaks"

MEANT_TO_DIFFER = ("distance", "radiation")


def highest_hz(a: Side, b: Side) -> float | None:
    """Up to where a product may lie for both; None: neither is in the near field."""
    limits = [
        highest_near_field_hz(one.plan.said(one.condition).radius_m, one.plan.setup.temperature_c)
        for one in (a, b)
        if one.near_field
    ]
    return min(limits, default=None)


def orders_alone(side: Side, up_to_hz: float) -> Side:
    """The orders of a side where the product n f lies below `up_to_hz`; never what is stated by level."""
    orders = [(one, one.quantity.order) for one in side.curves]
    kept = (
        replace(one, clear=one.clear & (order * one.frequency_hz <= up_to_hz))
        for one, order in orders
        if order is not None
    )
    return replace(side, curves=tuple(kept), repeats=())
