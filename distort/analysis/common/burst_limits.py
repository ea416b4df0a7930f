"""When tone bursts are loud enough: what ends a band of them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

COMPRESSION = "compression"
"""What a band is ended by when its output falls too far short; an order is called "h2", "h3", ..."""


def order_name(order: int) -> str:
    """How an order is called as what ended a band."""
    return f"h{order}"


@dataclass(frozen=True, kw_only=True)
class BurstLimits:
    """What must hold in a band for its bursts to be played louder."""

    compression_db: float = 3.0
    """Half of the power (common practice, no source): as a third octave loses it, music is no longer balanced."""
    orders_db: tuple[float, ...] = (-10.0, -15.0, -20.0, -20.0, -30.0)
    """dB re the fundamental, from order 2 on; the last holds for all above. CTA-2010 has such a staircase for the
    bursts of a subwoofer (from memory)."""
    ceiling_db_peak: float = math.inf
    """Peak SPL at 1 m above which nothing is played."""
    max_drive_dbfs: float = math.inf
    """AES17."""
    microphone_db_peak: float = math.inf
    """Peak SPL at 1 m that the microphone stands where it is."""
    input_peak_dbfs: float = math.inf
    """Peak at its input above which nothing is expected, dBFS."""

    def of_orders(self, orders: Sequence[int]) -> list[float]:
        """The limit of each of `orders` (2 and up), dB re the fundamental."""
        last = len(self.orders_db) - 1
        return [self.orders_db[min(order - 2, last)] for order in orders]
