"""Drawing many figures: only those that changed since they were drawn last, on all processors where that is quicker."""

import hashlib
import os
import pickle
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass, fields, is_dataclass
from functools import cache, partial
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from distort.processes import other_processes
from distort.report.figures.formats import FormatName
from distort.report.figures.garbage import search_seldom
from distort.report.figures.saving import FileKind, save_figure
from distort.session.files.hashing import is_file_of, sha256_of_file
from distort.session.results.drawn_files import DrawnFigure, DrawnFile, Record, read_record, write_record

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Job = TypeVar("Job")
Done = TypeVar("Done")


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
    inner = None if _is_plain(value) else _parts(value)
    if inner is not None:
        for each in inner:
            _feed(state, each)
    elif isinstance(value, bytes):
        state.update(value)
    elif _is_plain(value):
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
        names = tuple(field.name for field in fields(value))
        return [names, *(getattr(value, name) for name in names)]
    if isinstance(value, tuple | list | Mapping):
        return list(value.items()) if isinstance(value, Mapping) else value
    if callable(value):
        return value.__module__, value.__qualname__
    return None


def _is_plain(value: Any) -> bool:
    """A number, a text, nothing, or a row of these: Python writes it without loss."""
    if isinstance(value, tuple | list):
        return all(isinstance(each, str | int | float | None) for each in value)
    return isinstance(value, str | int | float | None)


Named = tuple[str, "Callable[[], Figure]"]
"""Name of a figure's files, and what draws it: a function of a module with its arguments, so that it can be sent."""

GIVEN_AHEAD = 3
"""Figures for each other process: the one that it draws, and those after it, so that it never waits."""

WORTH_A_PROCESS = 8
"""Fewer figures than this are drawn sooner than another process has started."""


class Drawers:
    """Other processes that draw, and read what is drawn: begun when they are first needed, or ahead of that, and ended
    together."""

    def __init__(self) -> None:
        self._pool: ProcessPoolExecutor | None = None

    def __enter__(self) -> "Drawers":
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)

    def begin(self, *, expected: int) -> None:
        """Let one load what it draws with while this process still reads what will be drawn, `expected` figures."""
        if others_for(expected) >= 1:
            self.pool().submit(_load)

    def shared(self, work: Callable[[Job], Done], jobs: Sequence[Job]) -> Iterator[Done]:
        """What `work`, a function of a module, makes of each job, as it is done: here, and there where that is
        quicker."""
        others = others_for(len(jobs))
        if others < 1:
            yield from map(work, jobs)
            return
        left = deque(jobs)
        given: deque[Future[Done]] = deque()
        try:
            while left or given:
                # the others work from the front, this one from the back; it keeps the last, or it would wait
                while len(left) > 1 and len(given) < GIVEN_AHEAD * others:
                    given.append(self.pool().submit(work, left.popleft()))
                if left:
                    yield work(left.pop())
                while given and (given[0].done() or not left):
                    yield given.popleft().result()
        finally:
            for one in given:
                one.cancel()

    def pool(self) -> ProcessPoolExecutor:
        """The processes, which start one by one as they are given work."""
        if self._pool is None:
            self._pool = other_processes(max((os.cpu_count() or 1) - 1, 1))
        return self._pool


def others_for(jobs: int) -> int:
    """How many other processes so many figures, or conditions to be read, are worth here."""
    return min((os.cpu_count() or 1) - 1, jobs // WORTH_A_PROCESS)


def _load() -> None:
    import distort.report.figures.canvas  # noqa: F401


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """Files of all figures asked for, and those of them that were written now."""

    paths: tuple[Path, ...]
    new: tuple[Path, ...]


def draw_figures(
    figures: Sequence[Named],
    folder: Path,
    *,
    kinds: Sequence[FileKind],
    dark: bool,
    form: FormatName | None = None,
    progress: Callable[[str, int, int], None],
    drawers: Drawers | None = None,
) -> Drawn:
    """Bring the files of `figures` in `folder` up to date, telling how long the rest will take.

    drawers   processes that may help; None: some of its own

    Raises SessionError when one cannot be written.
    """
    if drawers is None:
        with Drawers() as own:
            return draw_figures(figures, folder, kinds=kinds, dark=dark, form=form, progress=progress, drawers=own)
    before = {one.stem: one for one in read_record(folder).figures}
    # whoever draws a figure for the first time also digests it, which takes as long as drawing some lines
    digests = {stem: digest_of(draw, dark, form, drawing_version()) for stem, draw in figures if stem in before}
    jobs = [
        (draw, folder / stem, missing, dark, form)
        for stem, draw in figures
        if (missing := _missing(before[stem], digests[stem], folder, kinds) if stem in before else tuple(kinds))
    ]
    new: list[Path] = []
    progress(f"drawing {len(jobs)} figures", 0, len(jobs))
    began_s = time.monotonic()
    for done, (paths, digest) in enumerate(drawers.shared(_save, jobs), 1):
        digests[paths[0].stem] = digest
        left_s = (time.monotonic() - began_s) / done * (len(jobs) - done)
        progress(f"drawing {paths[0].stem}, {time_left(left_s)} to go", done, len(jobs))
        new += paths
    if jobs:
        _write_record(folder, before, digests, new)
    wanted = tuple(folder / f"{stem}.{kind}" for stem, _ in figures for kind in kinds)
    return Drawn(paths=wanted, new=tuple(sorted(new)))


def time_left(seconds: float) -> str:
    """A time in words that wait for nobody: "35 s", "4 min"."""
    return f"{seconds:.0f} s" if seconds < 99.5 else f"{seconds / 60.0:.0f} min"


def up_to_date(folder: Path) -> set[str]:
    """Names of the files in `folder` that the record knows."""
    return {file.name for one in read_record(folder).figures for file in one.files}


def forget(folder: Path, stems: set[str]) -> None:
    """Take figures out of the record whose files are gone."""
    record = read_record(folder)
    kept = tuple(one for one in record.figures if one.stem not in stems)
    if kept != record.figures:
        write_record(folder, Record(figures=kept))


Drawing = tuple["Callable[[], Figure]", Path, tuple[FileKind, ...], bool, FormatName | None]


Saved = tuple[tuple[Path, ...], str]
"""Paths of a figure, and the digest of what it is made of."""


def _save(job: Drawing) -> Saved:
    draw, stem, kinds, dark, form = job
    paths = save_figure(draw(), stem, kinds=kinds, dark=dark, form=form)
    search_seldom()  # now that all is imported
    return paths, digest_of(draw, dark, form, drawing_version())


def _missing(before: DrawnFigure, digest: str, folder: Path, kinds: Sequence[FileKind]) -> tuple[FileKind, ...]:
    """Which of `kinds` have to be drawn: all if the figure is made of something else now, else what is not there."""
    if before.digest != digest:
        return tuple(kinds)
    known = {file.name: file.sha256 for file in before.files}

    names = {kind: f"{before.stem}.{kind}" for kind in kinds}
    return tuple(kind for kind, name in names.items() if not is_file_of(folder / name, known.get(name, "")))


def _write_record(folder: Path, before: dict[str, DrawnFigure], digests: dict[str, str], new: Sequence[Path]) -> None:
    """Add what was drawn; files of an earlier picture of the same name leave the record, and so the folder."""
    figures = dict(before)
    for path in sorted(new):
        one = figures.get(path.stem)
        still = one.files if one is not None and one.digest == digests[path.stem] else ()
        others = tuple(file for file in still if file.name != path.name)
        file = DrawnFile(name=path.name, sha256=sha256_of_file(path))
        figures[path.stem] = DrawnFigure(stem=path.stem, digest=digests[path.stem], files=(*others, file))
    write_record(folder, Record(figures=tuple(figures[stem] for stem in sorted(figures))))
