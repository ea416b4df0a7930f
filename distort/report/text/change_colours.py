"""Colours for a change of level: red where the output lags the drive, blue where it leads, pale about zero.

The map is the cool-warm one of Moreland, "Diverging Color Maps for Scientific Visualization" (ISVC 2009), made so that
equal steps look equally large and readers with common colour vision tell its halves apart; matplotlib ships it as
"coolwarm". A short table of it stands here, so that a terminal need not load matplotlib.
"""

import numpy as np

FULL_COLOUR_DB = 6.0
"""Changes this large, or larger, have the ends of the map; fixed, so that a colour means the same in every table."""

COOL_WARM = (
    (59, 76, 192),
    (78, 104, 216),
    (98, 130, 234),
    (119, 154, 247),
    (141, 176, 254),
    (163, 194, 254),
    (185, 208, 249),
    (204, 217, 237),
    (221, 220, 220),
    (236, 211, 197),
    (245, 196, 172),
    (247, 176, 147),
    (244, 152, 122),
    (235, 125, 98),
    (221, 95, 75),
    (202, 59, 55),
    (180, 4, 38),
)
"""Red, green and blue, 0 to 255, at 17 even steps from cool to warm."""

LIGHT = 0.179
"""Relative luminance (WCAG 2.1) above which black is easier to read on a colour than white, both ways alike."""

Colour = tuple[int, int, int]


def change_colour(change_db: float) -> Colour:
    """Red, green and blue, 0 to 255, of a change in dB; negative is warm."""
    place = float(np.clip(0.5 - 0.5 * change_db / FULL_COLOUR_DB, 0.0, 1.0))
    steps = np.linspace(0.0, 1.0, len(COOL_WARM))
    red, green, blue = (round(float(np.interp(place, steps, channel))) for channel in zip(*COOL_WARM, strict=True))
    return red, green, blue


def luminance(colour: Colour) -> float:
    """Relative luminance of an sRGB colour, 0 to 1 (WCAG 2.1, definition of relative luminance)."""
    share = np.array(colour) / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def change_style(change_db: float) -> str:
    """Style of a table cell: the colour behind, black or white in front."""
    colour = change_colour(change_db)
    front = "black" if luminance(colour) > LIGHT else "white"
    return f"{front} on rgb({colour[0]},{colour[1]},{colour[2]})"
