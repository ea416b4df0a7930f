"""The methods text that ships with the program."""

from importlib.resources import files

from rich.console import Console

from distort.report.kinds import SHOWN


def methods_text() -> str:
    """How every quantity is measured, with formulas and sources, as Markdown."""
    texts = ["methods.md", *(kind.methods for kind in SHOWN.values())]
    return "\n".join(files("distort.report").joinpath(name).read_text(encoding="utf-8") for name in texts)


def print_methods(console: Console) -> None:
    """Headings, paragraphs and lists as they stand; folded to the terminal's width, as it is in a pipe."""
    if not console.is_terminal:
        console.print(methods_text().rstrip(), soft_wrap=True)
        return
    from rich.markdown import Markdown

    console.print(Markdown(methods_text()))
