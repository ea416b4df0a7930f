"""What the page is made of: sections under a heading, and tables in them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal


@dataclass(frozen=True)
class Section:
    """One section of the page, and one line of its contents."""

    anchor: str
    heading: str
    template: str
    """What draws it: the name of a template without its ending."""
    content: Any = None
    """What that template calls `content`."""


@dataclass(frozen=True, kw_only=True)
class PageTable:
    """A table whose first column names its rows."""

    headers: Sequence[str]
    rows: Sequence[Sequence[str]]
    caption: str
    look: Literal["", "numeric", "numbered"] = ""
    """ "numeric": digits of one width; "numbered": the same, and the first column is a number or a letter."""
