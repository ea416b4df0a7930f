"""Measures how much a loudspeaker distorts and compresses at stated sound pressure levels.

In a notebook: `distort.analyze(folder)` analyses a session, `distort.load(folder)` reads what was analysed; see
`distort.notebook`.
"""

from typing import TYPE_CHECKING, Any

from distort.version import __version__

if TYPE_CHECKING:
    from distort.notebook import analyze, load

__all__ = ["__version__", "analyze", "load"]


def __getattr__(name: str) -> Any:
    """Loads the analysis when it is first asked for, so that `import distort` and `distort --help` stay quick."""
    if name in ("analyze", "load"):
        from distort import notebook

        return getattr(notebook, name)
    raise AttributeError(f"module 'distort' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), "analyze", "load"])
