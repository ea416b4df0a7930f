"""HTML out of elements. Every text is escaped unless it is Markup already, so that a user's words stay words."""

import html
from collections.abc import Iterable, Sequence
from typing import Literal

VOID = frozenset({"br", "hr", "img", "input", "link", "meta"})
"""Elements that have no end (HTML Living Standard, 13.1.2)."""


class Markup(str):
    """Text that is HTML, and not to be escaped again."""

    __slots__ = ()


def markup(content: "str | Iterable[str]") -> Markup:
    """`content` as HTML: what is Markup stays, other text is escaped, several are put one after the other."""
    if isinstance(content, Markup):
        return content
    if isinstance(content, str):
        return Markup(html.escape(content, quote=True))
    return Markup("".join(markup(each) for each in content))


def element(tag: str, /, *content: "str | Iterable[str]", **attributes: "str | bool | None") -> Markup:
    """One element. `class_` and `data_chart` become class and data-chart; None and False leave an attribute out."""
    written = []
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        called = key.rstrip("_").replace("_", "-")
        written.append(f" {called}" if value is True else f' {called}="{html.escape(value, quote=True)}"')
    opening = f"<{tag}{''.join(written)}>"
    return Markup(opening if tag in VOID else f"{opening}{markup(markup(each) for each in content)}</{tag}>")


def paragraphs(sentences: Sequence[str]) -> Markup:
    """One paragraph a sentence."""
    return markup(element("p", sentence) for sentence in sentences)


def bullets(sentences: Sequence[str]) -> Markup:
    """A list of sentences; nothing where there are none."""
    return element("ul", (element("li", each) for each in sentences)) if sentences else Markup("")


def table(
    headers: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    caption: str,
    look: Literal["numeric", "numbered"] | None = None,
) -> Markup:
    """A table whose first column names its rows, in a box that scrolls by itself where the screen is narrow.

    look   "numeric": digits of one width; "numbered": the same, and the first column is a number or a letter
    """
    head = element("tr", (element("th", each, scope="col") for each in headers))
    body = (
        element("tr", element("th", row[0], scope="row"), *(element("td", each) for each in row[1:])) for row in rows
    )
    inner = element(
        "table",
        element("caption", caption),
        element("thead", head),
        element("tbody", body),
        class_=look,
    )
    return element("div", inner, class_="scroll", tabindex="0", role="region", aria_label=caption)
