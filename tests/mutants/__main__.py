"""`python -m tests.mutants --count 200 --seed 7`: how many of so many slips a test sees, and which none does.

Without `--seed` it is taken from the hash of the last commit. `--only distort/analysis/sweep` looks at one folder or
file, `--list` tells the slips of a run without trying any. What was found is kept as soon as it is there: a run that
was broken off goes on where it stopped, until a source or a test changes. `--by tests/test_decay.py` asks these tests
alone, which is quick and says what one file holds by itself.
"""

import argparse
import json
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from tests.kept_answers import journal
from tests.mutants import trial
from tests.mutants.changes import ROOT, Change, all_changes, files, one_line
from tests.mutants.equivalent import out_of_date, proofs
from tests.mutants.nearest import PINNED, near_files
from tests.mutants.operators import OPERATORS
from tests.mutants.trial import Verdict

SHOWN = 110
"""Characters of a change that a line has room for."""


def seed_of_last_commit() -> int:
    """The first eight digits of its hash."""
    head = subprocess.run(["git", "rev-parse", "HEAD"], cwd=ROOT, capture_output=True, check=True, text=True)
    return int(head.stdout[:8], 16)


def drawn(changes: Sequence[Change], *, count: int, seed: int) -> list[Change]:
    """So many places, each with one of its slips: every place is as likely as every other."""
    places: dict[tuple[str, int, int], list[Change]] = {}
    for change in changes:
        places.setdefault((change.path, change.start, change.end), []).append(change)
    chance = random.Random(seed)
    chosen = chance.sample(list(places.values()), min(count, len(places)))
    return [chance.choice(slips) for slips in chosen]


def main() -> int:
    given = _parser().parse_args()
    seed = seed_of_last_commit() if given.seed is None else given.seed
    whole, proved = all_changes(), proofs()
    for key in out_of_date({one.key for one in whole}):
        print(f"tests/mutants/equivalent.txt: this is written otherwise now, prove it again or leave it out: {key}")
    every = [one for one in whole if one.path.startswith(given.only)]
    possible = [one for one in every if one.key not in proved]
    chosen = drawn(possible, count=given.count, seed=seed)
    print(f"{len(every)} slips are possible; {len(every) - len(possible)} of them are proved not to matter")
    print(f"{len(chosen)} places drawn with seed {seed}, one slip each:")
    for name, meaning in OPERATORS.items():
        print(f"  {name:<16} {meaning}")
    for pattern, why in PINNED.items():
        print(f"not counted: {pattern} ({why})")
    if given.list:
        for change in chosen:
            print(_told(change))
        return 0
    with tempfile.TemporaryDirectory(prefix="distort-mutants-") as folder:
        if given.by:
            return _report(list(_tried_by(chosen, Path(folder), given.by, jobs=given.jobs)), seed=seed)
        return _report(list(_tried(chosen, Path(folder), jobs=given.jobs)), seed=seed)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.add_argument("--count", type=int, default=200, help="how many slips (200)")
    parser.add_argument("--seed", type=int, default=None, help="draws them (from the last commit's hash)")
    parser.add_argument("--jobs", type=int, default=2, choices=(1, 2), help="processes side by side (2)")
    parser.add_argument("--only", default="", help="slips in paths that begin with this")
    parser.add_argument("--by", nargs="+", default=(), metavar="TEST", help="run these test files alone")
    parser.add_argument("--list", action="store_true", help="tell which, and try none")
    return parser


def _tried(chosen: Sequence[Change], folder: Path, *, jobs: int) -> Iterator[Verdict]:
    """The verdicts as they come in, those first that an earlier run has kept."""
    kept = journal("distort_mutants", [str(path.relative_to(ROOT)) for path in (*files(), *near_files())])
    known = _kept_in(kept)
    for change in chosen:
        if _place(change) in known:
            yield Verdict(change=change, **known[_place(change)])
    missing = [change for change in chosen if _place(change) not in known]
    print(f"{len(chosen) - len(missing)} are known from a run before; the others are kept in {kept}", flush=True)
    for verdict in _tried_now(missing, folder, jobs=jobs):
        found = {"killed": verdict.killed, "by": verdict.by, "seconds": verdict.seconds}
        with kept.open("a", encoding="utf-8") as file:
            print(json.dumps([_place(verdict.change), found]), file=file)
        yield verdict


def _kept_in(path: Path) -> dict[str, dict[str, Any]]:
    """What was found of each slip."""
    lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    return dict(map(json.loads, lines))


def _place(change: Change) -> str:
    """Tells it from every other slip, also from the same one elsewhere in a function."""
    return f"{change.path} {change.start} {change.after}"


def _tried_by(chosen: Sequence[Change], folder: Path, tests: Sequence[str], *, jobs: int) -> Iterator[Verdict]:
    """Nothing of it is kept: it says what these tests see, and not what all do."""
    with _pool(folder, jobs) as pool:
        try:
            usual_s = pool.submit(trial.seconds_of, tests).result()
        except ValueError as error:
            sys.exit(str(error))
        limit_s = trial.PATIENCE * usual_s + trial.SET_UP_S
        yield from _as_told([pool.submit(trial.try_by, change, tests, limit_s) for change in chosen])


def _pool(folder: Path, jobs: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(jobs, mp_context=get_context("spawn"), initializer=trial.begin, initargs=(folder,))


def _tried_now(chosen: Sequence[Change], folder: Path, *, jobs: int) -> Iterator[Verdict]:
    began = time.monotonic()
    with _pool(folder, jobs) as pool:
        for done in as_completed([pool.submit(trial.look_at, path) for path in trial.unknown_files()]):
            print(f"looked at {done.result()}", flush=True)
        print(f"{time.monotonic() - began:.0f} s until it was known which tests run which lines", flush=True)
        yield from _as_told([pool.submit(trial.try_one, change) for change in chosen])


def _as_told(waiting: Sequence[Future[Verdict]]) -> Iterator[Verdict]:
    """Each verdict as it comes, with a line for it."""
    for number, done in enumerate(as_completed(waiting), start=1):
        verdict = done.result()
        print(f"{number:>4} {verdict.word:<9} {_told(verdict.change)}  [{verdict.by}]", flush=True)
        yield verdict


def _told(change: Change) -> str:
    words = f"{change.path}:{change.line} {change.slip}: {one_line(change.before)} -> {one_line(change.after)}"
    return words if len(words) <= SHOWN else words[: SHOWN - 3] + "..."


def _report(verdicts: Sequence[Verdict], *, seed: int) -> int:
    survived = [one for one in verdicts if not one.killed]
    print(f"\n{'slip':<16} {'tried':>6} {'killed':>7}")
    tried, killed = (
        Counter(one.change.slip for one in some) for some in (verdicts, [one for one in verdicts if one.killed])
    )
    for slip in OPERATORS:
        print(f"{slip:<16} {tried[slip]:>6} {killed[slip]:>7}")
    print("\nsurvived:")
    for one in sorted(survived, key=lambda each: (each.change.path, each.change.line)):
        print(f"  {one.change.path}:{one.change.line} {one.change.slip}; {one.by}\n    {one.change.key}")
    share = 100.0 * (len(verdicts) - len(survived)) / max(len(verdicts), 1)
    seconds = sum(one.seconds for one in verdicts)
    print(
        f"\nseed {seed}: {len(verdicts) - len(survived)} of {len(verdicts)} killed, {share:.1f} %; "
        f"{seconds:.0f} s of processor time"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
