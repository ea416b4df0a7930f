"""HTML out of templates. Every text is escaped on its way in, so that a user's words stay words."""

from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from distort.report.page.colours import dark_of

PACKAGE = "distort.report.page"

AS_JSON = {"ensure_ascii": False, "allow_nan": False, "separators": (",", ":")}
"""How `tojson` writes: short, and no number that JSON does not know. It escapes `<`, `>` and `&`, so that data can
neither end the script they stand in nor begin a comment there (HTML Living Standard, 4.12.1.3)."""


def rendered(template: str, **values: Any) -> str:
    """`templates/<template>` with `values` in it. Raises jinja2.UndefinedError for a value that it needs and lacks."""
    return environment().get_template(template).render(values)


def asset(name: str) -> str:
    """A file that ships with the page."""
    return files(PACKAGE).joinpath("assets", name).read_text(encoding="utf-8")


@cache
def environment() -> Environment:
    """What templates are read with: all that they are given is escaped, and what they lack is an error."""
    made = Environment(
        loader=PackageLoader(PACKAGE, "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.policies["json.dumps_kwargs"] = AS_JSON
    made.globals["asset"] = asset
    made.globals["dark_of"] = dark_of
    return made
