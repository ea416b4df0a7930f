"""The terminal: one kind of console for results and one for progress, plain text where nobody watches."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import IO, Any, NoReturn

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from distort.report.text.readable import one_line, readable

PLAIN_WIDTH = 80
"""Columns of a pipe or a file."""

Report = Callable[[str, int, int], None]
"""Told what is being done, how many steps of it are done, and how many there are."""


class _Console(Console):
    """Spells out control characters of whatever text it is given, in sentences and in cells of tables."""

    def render_str(self, text: str, *settings: Any, **named: Any) -> Text:
        return super().render_str(readable(text), *settings, **named)

    def on_broken_pipe(self) -> NoReturn:
        """Whoever reads has read enough: the command line ends well, where the library would end with status 1."""
        raise BrokenPipeError


def make_console(stream: IO[str] | None = None, *, stderr: bool = False) -> Console:
    """A console on `stream` (default: stdout, or stderr).

    Colour appears on a terminal alone, and not with NO_COLOR set. Words are printed as they stand: square brackets and
    colons in a loudspeaker's name are not commands, and control characters are spelled out. A pipe is 80 columns wide,
    whatever the terminal behind it.
    """
    console = _Console(file=stream, stderr=stderr, markup=False, highlight=False, emoji=False)
    if not console.is_terminal:
        console.width = PLAIN_WIDTH
    return console


def say(console: Console, *blocks: str | Table) -> None:
    """Print each sentence as a paragraph, folded at words on a terminal, one line in a pipe; tables as they are."""
    for block in blocks:
        if isinstance(block, str):
            console.print(one_line(block), soft_wrap=not console.is_terminal)
        else:
            console.print(block)


def terminal_question() -> Callable[[str], bool] | None:
    """Puts a question on the terminal and takes y or yes for yes; None where nobody sits at one."""
    console = make_console(stderr=True)
    if not (sys.stdin.isatty() and console.is_terminal):
        return None

    def ask(question: str) -> bool:
        say(console, question)
        console.print("Go on all the same? [y/N] ", end="")
        return sys.stdin.readline().strip().lower() in ("y", "yes")

    return ask


@contextmanager
def progress(console: Console | None = None) -> Iterator[Report]:
    """A progress bar on stderr while the body runs; gives the function that moves it. Silent in a pipe."""
    console = console or make_console(stderr=True)
    if not console.is_terminal:
        yield lambda what, done, total: None
        return
    columns = TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn()
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("", total=None)
        yield lambda what, done, total: bar.update(task, description=one_line(what), completed=done, total=total)
