"""Figures inside the page: a vector file made small, that follows the reader's choice of light or dark by itself.

A figure's file draws its letters as shapes, so that it looks the same everywhere. In the page they are text again, each
line held to the length it had: a quarter of the size, and a reader can search it.
"""

import re
from collections.abc import Mapping
from functools import cache
from urllib.parse import quote
from xml.parsers import expat
from xml.sax.saxutils import escape, quoteattr

from distort.report.page.colours import dark_of
from distort.report.page.vector_paths import short_paths

_LINK = "xlink:href"
_NUMBER = re.compile(r"-?\d+\.\d+")
_REFERENCE = re.compile(r"url\(#([^)]*)\)")
"""To where a picture is cut off, or to the pattern that fills a band."""
_COLOUR = re.compile(r"#[0-9a-fA-F]{6}\b")
_LAST_ADVANCE = 60.0
"""About how wide the last letter of a line is, in hundredths of the font's size; the file tells where it begins."""

_TO_ESCAPE, _BEYOND_ASCII = '%"#<>', re.compile("[^ -~]")
"""What a data address cannot hold as it is."""

_LEFT_OUT = ("metadata", "style")


def vector_address(svg: str) -> str:
    """A figure's SVG, as matplotlib writes it, as a data address of a third of its size, light or dark as wanted.

    Points keep one decimal of 1/72 inch, a seventh of a pixel on a screen 1920 wide. Raises
    xml.parsers.expat.ExpatError for what is no XML.
    """
    reading = _Reading()
    parser = expat.ParserCreate()
    parser.StartElementHandler, parser.EndElementHandler = reading.begin, reading.end
    parser.CommentHandler = reading.comment
    parser.Parse(svg, True)
    colours = {colour.lower() for colour in _COLOUR.findall(svg)} | {"#000000"}
    inner = _style(sorted(colours)) + reading.text()
    text = f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='{reading.view_box}'>{inner}</svg>"
    for character in _TO_ESCAPE:  # the per cent sign first, which the others become
        text = text.replace(character, quote(character))
    return f"data:image/svg+xml,{_BEYOND_ASCII.sub(lambda found: _quoted(found[0]), text)}"


_quoted = cache(quote)


def _style(colours: list[str]) -> str:
    """Every colour as a variable, with its value on white and on dark. Black is what SVG fills with unless told."""
    light = "".join(f"--{colour[1:]}:{colour};" for colour in colours)
    dark = "".join(f"--{colour[1:]}:{dark_of(colour)};" for colour in colours)
    return (
        f"<style>:root{{{light}}}@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"
        f"svg{{fill:var(--000000);font-family:DejaVu Sans,Verdana,sans-serif}}*{{stroke-linejoin:round}}</style>"
    )


class _Reading:
    """What is written of a file while its elements go by: pieces of text, and an empty one for every path."""

    def __init__(self) -> None:
        self.view_box = ""
        self._pieces: list[str] = []
        self._paths: dict[int, str] = {}
        self._open: list[tuple[str, int, int]] = []  # an element, its first piece, and the one that ends its tag
        self._names: dict[str, str] = {}  # a short one for every id
        self._words: str | None = None  # matplotlib puts a line of text into a comment before its letters' shapes
        self._letters: _Letters | None = None
        self._inside = 0  # so many elements of what is not written as it stands

    def text(self) -> str:
        """What is inside the outermost element."""
        for place, path in zip(self._paths, short_paths(list(self._paths.values())), strict=True):
            self._pieces[place] = path
        return "".join(self._pieces)

    def comment(self, words: str) -> None:
        """Most likely a line of text."""
        if not self._inside:
            self._words = words

    def begin(self, tag: str, attributes: dict[str, str]) -> None:
        """An element begins."""
        if self._inside:
            if self._inside == 1 and tag == "use" and self._letters is not None:
                self._letters.add(attributes)
            self._inside += 1
            return
        words, self._words = self._words, None
        if not self._open:
            self.view_box = attributes["viewBox"]
            self._open.append(("", 0, 0))
        elif words is not None:
            self._letters, self._inside = _Letters(words, attributes), 1
        elif tag in _LEFT_OUT:
            self._inside = 1
        else:
            self._tag(tag, attributes)

    def _tag(self, tag: str, attributes: Mapping[str, str]) -> None:
        """A tag with an empty piece for its path; a group without attributes has none."""
        pieces, first = self._pieces, len(self._pieces)
        pieces.append(f"<{tag}")
        for key, value in attributes.items():
            if key == "d":
                pieces += [" d='", "", "'"]
                self._paths[len(pieces) - 2] = value
            elif key != "id":
                pieces.append(self._attribute(key, value))
            elif tag != "g":  # nothing refers to a group
                pieces.append(f" id='{self._short(value)}'")
        if tag == "g" and len(pieces) == first + 1:
            pieces[first] = ""
        else:
            pieces.append(">")
        self._open.append((tag, first, len(pieces) - 1))

    def end(self, _: str) -> None:
        """An element ends; what groups nothing leaves nothing."""
        if self._inside:
            self._inside -= 1
            if not self._inside and self._letters is not None:
                self._pieces += self._letters.as_text()
                self._letters = None
            return
        self._words = None
        tag, first, last = self._open.pop()
        pieces = self._pieces
        if not self._open:
            return
        if len(pieces) == last + 1:
            if tag in ("g", "defs"):
                del pieces[first:]
            else:
                pieces[last] = "/>"
        elif pieces[last]:
            pieces.append(f"</{tag}>")

    def _attribute(self, key: str, value: str) -> str:
        if key == _LINK:
            return f" href='#{self._short(value[1:])}'" if value.startswith("#") else f" href='{value}'"
        return _attribute(key, _REFERENCE.sub(lambda found: f"url(#{self._short(found[1])})", value))

    def _short(self, name: str) -> str:
        return self._names.setdefault(name, f"i{len(self._names)}")


@cache
def _attribute(key: str, value: str) -> str:
    """An attribute whose names of other elements are the short ones."""
    if key == "fill" and _COLOUR.fullmatch(value):  # as an attribute it would not change with the ground
        key, value = "style", f"fill: {value}"
    if key == "style":
        value = _COLOUR.sub(lambda found: f"var(--{found[0][1:].lower()})", value).replace("; ", ";")
    elif key in ("x", "y", "width", "height"):
        value = _NUMBER.sub(_one_decimal, value)
    return f" {key}={quoteattr(value).replace(chr(34), chr(39))}"


def _one_decimal(found: re.Match[str]) -> str:
    text = f"{float(found[0]):.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


class _Letters:
    """A line of letters that were drawn as shapes, each of which is used once."""

    def __init__(self, words: str, attributes: Mapping[str, str]) -> None:
        self._words, self._attributes = words, attributes
        self._first: str | None = None
        self._last_placed = ""

    def add(self, attributes: Mapping[str, str]) -> None:
        """The next letter."""
        if self._first is None:
            self._first = attributes.get(_LINK, "")
        self._last_placed = attributes.get("transform", "")

    def as_text(self) -> list[str]:
        """Text of the same length; nothing where there were no letters."""
        transform = self._attributes.get("transform", "")
        scale = re.search(r"scale\(([\d.]+) -[\d.]+\)", transform)
        if scale is None or self._first is None:
            return []
        size = 100.0 * float(scale[1])
        begins = re.search(r"translate\(([\d.]+)", self._last_placed)
        length = ((float(begins[1]) if begins else 0.0) + _LAST_ADVANCE) * float(scale[1])
        bold = " font-weight='bold'" if "Bold" in self._first else ""
        colour = _COLOUR.search(self._attributes.get("style", ""))
        fill = f" style='fill:var(--{colour[0][1:].lower()})'" if colour else ""
        place = _NUMBER.sub(_one_decimal, transform[: scale.start()].strip())
        text = self._words.strip().replace("- -", "--")
        return [
            f"<text transform='{place}' font-size='{size:.1f}'{bold}{fill} textLength='{length:.1f}' "
            f"lengthAdjust='spacingAndGlyphs'>{escape(text)}</text>"
        ]
