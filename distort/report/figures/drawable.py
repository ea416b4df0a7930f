"""Words of users as a figure can hold them: what its typeface has no shape for is the replacement character.

matplotlib would warn of each such character, and would write control characters into SVG, which is no XML then (XML
1.0, production 2, Char).
"""

from functools import cache

TYPEFACE = "DejaVu Sans"
"""Ships with matplotlib, so figures are the same on every machine."""

REPLACEMENT = "\N{REPLACEMENT CHARACTER}"


def drawable(text: str) -> str:
    """`text` in one line, with U+FFFD for every character that the figures' typeface lacks in either weight."""
    return "".join(each if ord(each) in _shapes() else REPLACEMENT for each in " ".join(text.split()))


def lacking(text: str) -> str:
    """The characters of `text` that `drawable` cannot show, each once, in their order."""
    return "".join(dict.fromkeys(each for each in text if not each.isspace() and ord(each) not in _shapes()))


@cache
def _shapes() -> frozenset[int]:
    """Code points that the typeface has, plain and bold."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    faces = [FontProperties(family=[TYPEFACE], weight=weight) for weight in ("normal", "bold")]
    plain, bold = (frozenset(get_font(findfont(face)).get_charmap()) for face in faces)
    return plain & bold
