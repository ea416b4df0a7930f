"""What a figure is made of, as one number: two figures of the same digest are the same picture."""

import hashlib
import pickle
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from functools import cache, partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np


def digest_of(*values: Any) -> str:
    """SHA-256 over `values`: numbers, texts, arrays, dataclasses, functions and what is made of these, by content."""
    state = hashlib.sha256()
    for value in values:
        _feed(state, value)
    return state.hexdigest()


@cache
def drawing_version() -> str:
    """Digest of the code that draws: that of reports, and the version of the library beneath it."""
    sources = sorted(Path(__file__).parent.rglob("*.py"))
    return digest_of(version("matplotlib"), *(path.read_bytes() for path in sources))


def _feed(state: Any, value: Any) -> None:
    state.update(f"<{type(value).__name__}>".encode())
    inner = _parts(value)
    if inner is not None:
        for each in inner:
            _feed(state, each)
    elif isinstance(value, bytes):
        state.update(value)
    elif isinstance(value, str | int | float | None):
        state.update(repr(value).encode())
    else:
        state.update(pickle.dumps(value))
    state.update(b"</>")


def _parts(value: Any) -> Iterable[Any] | None:
    """What `value` is made of; None where it is one thing."""
    if isinstance(value, np.ndarray):
        return value.dtype.str, value.shape, np.ascontiguousarray(value).tobytes()
    if isinstance(value, partial):
        return value.func, value.args, value.keywords
    if is_dataclass(value) and not isinstance(value, type):
        return [(field.name, getattr(value, field.name)) for field in fields(value)]
    if isinstance(value, tuple | list | Mapping):
        return list(value.items()) if isinstance(value, Mapping) else value
    if callable(value):
        return value.__module__, value.__qualname__
    return None
