"""Hostile session folders: nothing from outside, nothing of the user's own in page or bundle; no hang, no full memory.

Eight with `-m sample`; `pytest -m study -s tests/test_hostile_folders.py` does 500. A failure names the seed.
"""

import base64
import io
import random
import re
import shutil
import sys
import zipfile
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import unquote_to_bytes

import pytest

from tests.bounded import MOST_BYTES, Bounded, Ended, Took
from tests.clumsy_session import contents
from tests.hostile_folders import FREE_NAMES, NUMBER, OUTSIDE, OWN, Spoiler, make_outside, whole_session
from tests.in_processes import one_thread

LONGEST_S = 10.0
AGAIN = "autumn-edition"
AT_ONCE = 2
"""Folders that are tried side by side."""

DATA = re.compile(rb'data:[a-z/+]+(;base64)?,([^"\']*)')


@dataclass(frozen=True, kw_only=True)
class Tried:
    """What became of one folder."""

    kind: str
    planted: Counter[str]
    ended: Ended
    published: tuple[str, ...]
    """Which of page, bundle and frozen edition were written."""
    searched: int
    """Files, and parts of files, in which canaries were sought."""


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    """Of a whole session and what lies outside it."""
    place = tmp_path_factory.mktemp("hostile")
    whole = whole_session(place / "whole" / "monitor")
    make_outside(place, whole)
    return place


def parts(content: bytes) -> Iterator[bytes]:
    """A file, what is packed in it, and what a page carries in its addresses."""
    yield content
    if content[:2] == b"PK":
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            for name in archive.namelist():
                yield from parts(archive.read(name))
    elif content[:9].lower() == b"<!doctype":
        for coded, data in DATA.findall(content):
            yield from parts(base64.b64decode(data) if coded else unquote_to_bytes(data))


def leaks(content: bytes) -> tuple[int, list[bytes]]:
    """How many parts there were, and which canaries were in them."""
    found, count = set(), 0
    for part in parts(content):
        count += 1
        found |= {canary for canary in (OUTSIDE, OWN, NUMBER) if canary in part}
    return count, sorted(found)


def tried(place: Path, runner: Bounded, kind: str, seed: int) -> Tried:
    """Spoil a copy of the session, run on it whatever reads, shows or publishes it, and look what came out."""
    case, whole = place / f"{kind}-{seed}", place / "whole" / "monitor"
    root, bundle = case / "monitor", case / "check.zip"
    shutil.copytree(whole, root)
    chance = random.Random(f"{kind} {seed}")
    spoiler = Spoiler(root, whole=whole, outside=place / "outside", chance=chance)
    spoiler.careless() if kind == "careless" else spoiler.hostile()
    own = {path: path.read_bytes() for path in own_files(root)}
    compared = ("compare", f"{root}:stand", f"{root}:desk")
    (longer,) = chance.choices([("freeze", root, AGAIN), ("analyze", root), compared], [4, 2, 1])
    commands = [
        *(("report", root), ("bundle", root, "--to", bundle)),
        *(("check", root), ("show", root, "harmonics"), ("show", root, "quality"), longer, ("report", root)),
    ]
    ended, what = runner.run(case, commands), f"{kind}, seed {seed}"
    for took in ended.each:
        judge(took, what)
    assert len(ended.each) == len(commands), f"{what}: {commands[len(ended.each)]} hangs"
    assert ended.most_mb * 2**20 < MOST_BYTES, (what, ended.most_mb)
    assert {path: path.read_bytes() for path in own_files(root)} == own, f"{what}: a file of the user's own was touched"
    if kind == "careless":  # `check` misses the multitones
        assert {took.status for took in ended.each if took.words[0] != "check"} == {0}, (what, ended)
    out = {
        "page": [root / "results/report.html"] if ended.each[-1].status == 0 else [],
        "bundle": [bundle] if bundle.exists() else [],
        "frozen edition": [path for path in (root / "frozen" / AGAIN).rglob("*") if path.name != "session.toml"],
    }
    searched = 0
    for path in (path for paths in out.values() for path in paths if path.is_file()):
        count, found = leaks(path.read_bytes())
        assert not found, f"{what}: {found} in {path}"
        searched += count
    shutil.rmtree(case)
    published = tuple(name for name, paths in out.items() if paths)
    return Tried(kind=kind, planted=spoiler.planted, ended=ended, published=published, searched=searched)


def judge(took: Took, what: str) -> None:
    """A command may do its work or refuse it, soon, and say nothing that stands in a file outside."""
    assert took.status in (0, 1, 2), (what, took)
    assert "fault in this program" not in took.said, (what, took)
    assert "Traceback" not in took.said, (what, took)
    assert took.seconds < LONGEST_S, (what, took)
    assert not [canary for canary in (OUTSIDE, NUMBER) if canary.decode() in took.said], (what, took)


def own_files(root: Path) -> list[Path]:
    """Files that no command would call so, where a command might meet them."""
    there = [path for path in sorted(root.rglob("*")) if path.name in (*FREE_NAMES, "diary.txt")]
    return [path for path in there if path.is_file() and not path.is_symlink() and path.stat().st_size < 10**6]


@pytest.mark.skipif(sys.platform != "linux", reason="pipes, sockets and the clock of the scheduler are those of Linux")
@pytest.mark.parametrize(
    "cases", [pytest.param(1, marks=pytest.mark.sample), pytest.param(250, marks=pytest.mark.study)]
)
def test_folders(place, monkeypatch, cases) -> None:
    one_thread(monkeypatch)
    before = contents(place / "outside")
    runner = Bounded()
    jobs = [(kind, seed) for seed in range(cases) for kind in ("careless", "hostile")]

    def attempt(job: tuple[str, int]) -> Tried | str:
        try:
            return tried(place, runner, *job)
        except AssertionError as error:  # one that fails stops no other: all of them are told
            return str(error)

    with ThreadPoolExecutor(AT_ONCE) as pool:
        ended = list(pool.map(attempt, jobs))
    results = [one for one in ended if isinstance(one, Tried)]
    print_table(results)
    assert [one for one in ended if isinstance(one, str)] == []
    assert contents(place / "outside") == before
    for what in ("page", "bundle", "frozen edition"):
        assert any(what in one.published for one in results), f"nothing was looked into: no {what}"


def print_table(results: list[Tried]) -> None:
    print("\nfolders   tried  page  bundle  frozen  things planted  files and parts searched")
    for kind in ("careless", "hostile"):
        those = [one for one in results if one.kind == kind]
        counts = [sum(what in one.published for one in those) for what in ("page", "bundle", "frozen edition")]
        planted, searched = sum(one.planted.total() for one in those), sum(one.searched for one in those)
        print(f"{kind:<9} {len(those):>5} {counts[0]:>5} {counts[1]:>7} {counts[2]:>7} {planted:>15} {searched:>25}")
    total: Counter[str] = sum((one.planted for one in results), Counter())
    print("planted: " + ", ".join(f"{kind} {count}" for kind, count in total.most_common()))
    longest = max((took for one in results for took in one.ended.each), key=lambda took: took.seconds)
    most_mb = max(one.ended.most_mb for one in results)
    print(
        f"canaries found: 0; longest command {longest.seconds:.1f} s ({longest.words[0]}); most memory {most_mb:.0f} MB"
    )
