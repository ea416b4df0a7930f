"""How the page's curves are told apart: dashes for conditions and orders, as the printed figures have them."""

CONDITION_DASHES: tuple[tuple[float, ...], ...] = ((), (7.0, 3.0), (2.0, 3.0), (8.0, 3.0, 2.0, 3.0))
"""Which condition, where colour says which level."""

ORDER_LINES: dict[int, tuple[float, ...]] = {2: (), 3: (8.0, 3.0), 4: (6.0, 2.0, 2.0, 2.0), 5: (3.0, 2.0)}
