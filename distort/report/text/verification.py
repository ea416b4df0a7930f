"""The table of `distort verify`: what was expected, by which source, and what this installation gives."""

from collections.abc import Sequence
from typing import Protocol

from rich.table import Table
from rich.text import Text


class Check(Protocol):
    """One comparison with a value known in closed form."""

    @property
    def name(self) -> str:
        """What was checked, in a few words."""
        ...

    @property
    def source(self) -> str:
        """Where the expected value comes from."""
        ...

    @property
    def error(self) -> float:
        """Largest difference to the expected value, in `unit`."""
        ...

    @property
    def allowed(self) -> float:
        """Largest difference that passes, in `unit`."""
        ...

    @property
    def unit(self) -> str:
        """Of `error` and `allowed`, such as "dB"."""
        ...

    @property
    def passed(self) -> bool:
        """Whether the difference is allowed."""
        ...


def checks_table(checks: Sequence[Check]) -> Table:
    """One row a check, its source beneath it; the verdict is a word, so that it needs no colour."""
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    table.add_column("check", ratio=1)
    table.add_column("error", justify="right", no_wrap=True)
    table.add_column("allowed", justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    for check in checks:
        verdict = Text("passed", style="green") if check.passed else Text("FAILED", style="bold red")
        table.add_row(
            Text.assemble(check.name, "\n", (f"  {check.source}", "dim")),
            f"{check.error:.4g} {check.unit}",
            f"{check.allowed:.4g} {check.unit}",
            verdict,
        )
    return table
