"""What makes the numbers: this program, the code in it that computes, and the libraries whose arithmetic is in them."""

import hashlib
import platform
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path

from distort.version import __version__

LIBRARIES = ("numpy", "scipy", "soundfile")
"""Whose arithmetic or decoding is in the numbers."""

COMPUTING = (
    "signals",
    "distort/analysis",
    "distort/session",
    "distort/recording",
    "distort/assembly",
    "distort/pipeline.py",
)
"""Code from which a number in a result comes. What plays and records, shows, prints or compares makes none old."""

HOUSE = Path(__file__).resolve().parents[3]
"""Where both packages lie."""


@dataclass(frozen=True, kw_only=True)
class Software:
    """One program or library and its version."""

    name: str
    version: str


def software_here() -> tuple[Software, ...]:
    """This program, Python and the libraries, by their versions."""
    found = [("distort", __version__), ("Python", platform.python_version())]
    found += [(name, version(name)) for name in LIBRARIES]
    return tuple(Software(name=name, version=known) for name, known in found)


@cache
def software() -> str:
    """Names all that makes the numbers: another text, another analysis. Computing code counts by its contents."""
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    return f"distort {__version__} ({digest_of(HOUSE)[:16]}), {libraries}"


def digest_of(house: Path) -> str:
    """SHA-256 over the code in `house` that computes."""
    digest = hashlib.sha256()
    for place in (house / name for name in COMPUTING):
        for path in [place] if place.is_file() else sorted(place.rglob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest()
