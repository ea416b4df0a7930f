"""Answers of long studies, kept as soon as they are there: a run that was broken off goes on where it stopped."""

import hashlib
import json
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, TypeVar

from tests.in_processes import in_processes

ROOT = Path(__file__).parents[1]
Job = TypeVar("Job")


def journal(study: str, sources: Sequence[str]) -> Path:
    """Where the answers of a study are kept: one file for each state of the `sources`, relative to the repository."""
    digest = hashlib.sha256()
    for source in sources:
        path = ROOT / source
        for file in sorted(path.rglob("*.py")) if path.is_dir() else [path]:
            digest.update(file.read_bytes())
    folder = Path(tempfile.gettempdir()) / study
    folder.mkdir(exist_ok=True)
    return folder / f"{digest.hexdigest()[:16]}.jsonl"


def kept_answers(work: Callable[[Job], Any], jobs: Iterable[Job], *, journal: Path, processes: int) -> Iterator[Any]:
    """`work` of every job, in order, as kept from a run before or done now; jobs and answers go through JSON."""
    wanted = list(jobs)
    known = _known(journal)
    missing = [job for job in wanted if json.dumps(job) not in known]
    print(
        f"{len(wanted) - len(missing)} of {len(wanted)} cases are known; the others are added to {journal}", flush=True
    )
    with journal.open("a", encoding="utf-8") as file:
        for job, answer in zip(missing, in_processes(work, missing, processes=processes), strict=True):
            print(json.dumps([job, answer]), file=file, flush=True)
    known = _known(journal)
    for job in wanted:
        yield known[json.dumps(job)]


def _known(journal: Path) -> dict[str, Any]:
    if not journal.exists():
        return {}
    lines = journal.read_text(encoding="utf-8").splitlines()
    return {json.dumps(job): answer for job, answer in map(json.loads, lines)}
