"""Python's search for objects that only refer to one another, made seldom where many figures are drawn.

A figure is some 15,000 objects, and all that was imported for it is looked through each time: as often as Python looks
unless told, that is a twelfth of the time of drawing.
"""

import gc
from functools import cache

NEW_OBJECTS = 50_000
"""Between two searches among the newest: three figures."""

SEARCHES = 5, 20
"""Among the newest before one among the older, and of those before one among all."""


@cache
def search_seldom() -> None:
    """From now on, and never among what is there already, which stays until the program ends."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(NEW_OBJECTS, *SEARCHES)
