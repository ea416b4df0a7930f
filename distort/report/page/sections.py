"""What the folded part of the page is made of: folds, sections in them under a heading, and tables."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal


@dataclass(frozen=True)
class Section:
    """One section of a fold."""

    anchor: str
    heading: str
    template: str
    """What draws it: the name of a template without its ending."""
    content: Any = None
    """What that template calls `content`."""


@dataclass(frozen=True)
class Fold:
    """A part of the page that is closed until somebody opens it; on paper it is open."""

    anchor: str
    heading: str
    holds: str
    """What a reader finds in it, in a line."""
    sections: Sequence[Section]


@dataclass(frozen=True, kw_only=True)
class PageTable:
    """A table whose first column names its rows."""

    headers: Sequence[str]
    rows: Sequence[Sequence[str]]
    caption: str
    look: Literal["", "numeric", "numbered"] = ""
    """ "numeric": digits of one width; "numbered": the same, and the first column is a number or a letter."""
