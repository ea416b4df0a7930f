"""Figures inside the page: a vector file made small, that follows the reader's choice of light or dark by itself.

A figure's file draws its letters as shapes, so that it looks the same everywhere. In the page they are text again, each
line held to the length it had: a quarter of the size, and a reader can search it.
"""

import re
from collections.abc import Iterator
from functools import cache
from typing import Any
from urllib.parse import quote
from xml.etree import ElementTree as Xml
from xml.sax.saxutils import escape, quoteattr

from distort.report.figures.dark import dark_of

_SVG = "{http://www.w3.org/2000/svg}"
_LINK = "{http://www.w3.org/1999/xlink}href"
_NUMBER = re.compile(r"-?\d+\.\d+")
_CURVED = re.compile("[A-KN-Za-y]")
"""Any letter of a path but those of moves, lines and closing."""
_COLOUR = re.compile(r"#[0-9a-fA-F]{6}\b")
_LAST_ADVANCE = 60.0
"""About how wide the last letter of a line is, in hundredths of the font's size; the file tells where it begins."""

_TO_ESCAPE = re.compile(r"[^ !$&-;=?-~]")
"""What a data address cannot hold as it is: `"`, `#`, `%`, `<`, `>` and what is beyond ASCII."""


def vector_address(svg: str) -> str:
    """A figure's SVG, as matplotlib writes it, as a data address of a third of its size, light or dark as wanted.

    Points keep one decimal of 1/72 inch, a seventh of a pixel on a screen 1920 wide.
    """
    root = Xml.fromstring(svg, Xml.XMLParser(target=Xml.TreeBuilder(insert_comments=True)))
    names: dict[str, str] = {}
    colours = {colour.lower() for colour in _COLOUR.findall(svg)} | {"#000000"}
    inner = _style(sorted(colours)) + _all_written(list(root), names)
    text = f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='{root.get('viewBox')}'>{inner}</svg>"
    return f"data:image/svg+xml,{_TO_ESCAPE.sub(lambda found: _quoted(found[0]), text)}"


_quoted = cache(quote)


def _style(colours: list[str]) -> str:
    """Every colour as a variable, with its value on white and on dark. Black is what SVG fills with unless told."""
    light = "".join(f"--{colour[1:]}:{colour};" for colour in colours)
    dark = "".join(f"--{colour[1:]}:{dark_of(colour)};" for colour in colours)
    return (
        f"<style>:root{{{light}}}@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"
        f"svg{{fill:var(--000000);font-family:DejaVu Sans,Verdana,sans-serif}}*{{stroke-linejoin:round}}</style>"
    )


def _written(node: Xml.Element, names: dict[str, str]) -> str:
    """One element of the file, and what is in it, shorter; `names` gives every id a short one."""
    if node.tag in (f"{_SVG}metadata", f"{_SVG}style"):
        return ""
    inner = _all_written(list(node), names)
    tag = node.tag.removeprefix(_SVG)
    attributes = _attributes(node, tag, names)
    if tag == "g" and not attributes:
        return inner
    if tag in ("g", "defs") and not inner:
        return ""
    return f"<{tag}{attributes}>{inner}</{tag}>" if inner else f"<{tag}{attributes}/>"


def _all_written(nodes: list[Xml.Element], names: dict[str, str]) -> str:
    """Elements one after the other; matplotlib puts a line of text into a comment before the shapes of its letters."""
    written, words = [], None
    for node in nodes:
        if _is_comment(node):
            words = node.text
        elif words is not None:
            written.append(_as_text(words, node))
            words = None
        else:
            written.append(_written(node, names))
    return "".join(written)


def _is_comment(node: Any) -> bool:
    return bool(node.tag is Xml.Comment)


def _attributes(node: Xml.Element, tag: str, names: dict[str, str]) -> str:
    written = []
    for key, value in node.attrib.items():
        if key == "id":
            if tag == "g":
                continue  # nothing refers to a group
            pair = ("id", _short(value, names))
        elif key == _LINK:
            pair = ("href", f"#{_short(value[1:], names)}")
        elif key == "clip-path":
            pair = (key, f"url(#{_short(value[5:-1], names)})")
        elif key == "d":
            pair = (key, _short_path(value))
        elif key == "style":
            pair = (key, _COLOUR.sub(lambda found: f"var(--{found[0][1:].lower()})", value).replace("; ", ";"))
        else:
            pair = (key, _NUMBER.sub(_one_decimal, value) if key in ("x", "y", "width", "height") else value)
        written.append(f" {pair[0]}={quoteattr(pair[1]).replace(chr(34), chr(39))}")
    return "".join(written)


def _short(name: str, names: dict[str, str]) -> str:
    return names.setdefault(name, f"i{len(names)}")


def _short_path(path: str) -> str:
    """A path of moves and straight lines with each point re the one before; other paths merely rounded."""
    if _CURVED.search(path):
        return _NUMBER.sub(_one_decimal, path).replace("\n", " ").strip()
    return _relative(iter(path.split()))


def _relative(parts: Iterator[str]) -> str:
    """Each line as its step from the point before it; a minus parts two numbers as well as a blank does."""
    written, x, y, line = [], 0, 0, False
    for letter in parts:
        if letter == "z":
            written.append("z")
            line = False
            continue
        new_x, new_y = round(10.0 * float(next(parts))), round(10.0 * float(next(parts)))
        if line and letter == "L":
            written += [_tenths(new_x - x), _tenths(new_y - y)]
        else:
            written.append(f"{letter}{_tenths(new_x)} {_tenths(new_y)}l")
        x, y, line = new_x, new_y, True
    text = " ".join(written).replace(" -", "-").replace(" z", "z").replace("l ", "l").replace(" M", "M")
    return text.replace("lz", "z").replace("lM", "M").removesuffix("l")


@cache
def _tenths(value: int) -> str:
    """A number of tenths, in as few characters as can be: 1.5, -.3, 2."""
    text = f"{value / 10:.1f}".removesuffix(".0")
    return text.replace("0.", ".") if text.startswith(("0.", "-0.")) else text


def _one_decimal(found: re.Match[str]) -> str:
    text = f"{float(found[0]):.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def _as_text(words: str, drawn: Xml.Element) -> str:
    """A line of letters that were drawn as shapes as text of the same length."""
    transform = str(drawn.get("transform", ""))
    scale = re.search(r"scale\(([\d.]+) -[\d.]+\)", transform)
    uses = drawn.findall(f"{_SVG}use")
    if scale is None or not uses:
        return ""
    size = 100.0 * float(scale[1])
    begins = re.search(r"translate\(([\d.]+)", str(uses[-1].get("transform", "")))
    length = ((float(begins[1]) if begins else 0.0) + _LAST_ADVANCE) * float(scale[1])
    bold = " font-weight='bold'" if "Bold" in str(uses[0].get(_LINK)) else ""
    colour = _COLOUR.search(str(drawn.get("style", "")))
    fill = f" style='fill:var(--{colour[0][1:].lower()})'" if colour else ""
    place = _NUMBER.sub(_one_decimal, transform[: scale.start()].strip())
    text = words.strip().replace("- -", "--")
    return (
        f"<text transform='{place}' font-size='{size:.1f}'{bold}{fill} textLength='{length:.1f}' "
        f"lengthAdjust='spacingAndGlyphs'>{escape(text)}</text>"
    )
