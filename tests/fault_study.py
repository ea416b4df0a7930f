"""Runs many cases of the study of faults on two processors, and keeps each one's result as soon as it is there.

A run that was broken off goes on where it stopped, as long as no source file changed:
`python -m tests.fault_study --first 500 --count 20 clipping gain clean` looks at cases other than those reported.
"""

import argparse
import json
from collections import Counter
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict
from pathlib import Path

from tests.devices.fault_cases import Case, look_at
from tests.devices.faults import FAULTS
from tests.kept_answers import journal

WORKERS = 2
SOURCES = ("signals", "distort/analysis", "distort/capture", "tests/devices", "tests/made_recordings.py")


def looked_at(wanted: Sequence[tuple[str, int]]) -> list[Case]:
    """Each `(fault, number)`, as kept from a run before or looked at now, in the order asked for."""
    path = journal("distort_fault_study", SOURCES)
    known = {(case.fault, case.number): case for case in _kept(path)}
    missing = [one for one in wanted if one not in known]
    print(f"{len(wanted) - len(missing)} of {len(wanted)} cases are known; the others are added to {path}", flush=True)
    with ProcessPoolExecutor(WORKERS) as pool, path.open("a", encoding="utf-8") as file:
        for done in as_completed([pool.submit(look_at, *one) for one in missing]):
            case = done.result()
            known[case.fault, case.number] = case
            print(json.dumps(asdict(case)), file=file, flush=True)
    return [known[one] for one in wanted]


def _kept(journal: Path) -> list[Case]:
    if not journal.exists():
        return []
    lines = journal.read_text(encoding="utf-8").splitlines()
    return [Case(**{**one, "troubles": tuple(one["troubles"])}) for one in map(json.loads, lines)]


def confusion(cases: Iterable[Case]) -> dict[str, Counter[str]]:
    """Of each fault, how often it was named what."""
    table: dict[str, Counter[str]] = {}
    for case in cases:
        table.setdefault(case.fault, Counter())[case.named] += 1
    return table


def print_confusion(cases: Sequence[Case]) -> None:
    print(f"{'fault':<10} {'cases':>5} {'flagged':>8} {'named':>6}  otherwise named")
    table = confusion(cases)
    for fault, names in table.items():
        count = sum(names.values())
        other = ", ".join(f"{name} {number}" for name, number in names.items() if name != fault)
        print(f"{fault:<10} {count:>5} {count - names['nothing']:>8} {names[fault]:>6}  {other}".rstrip())
    count = sum(sum(names.values()) for names in table.values())
    flagged = count - sum(names["nothing"] for names in table.values())
    print(f"{'all':<10} {count:>5} {flagged:>8} {sum(names[fault] for fault, names in table.items()):>6}")


def print_clean(cases: Sequence[Case]) -> None:
    verdicts = Counter(case.named for case in cases)
    print(f"clean: {len(cases)}, good {verdicts['good']}, usable {verdicts['usable']}, refused {verdicts['refuse']}")
    names = Counter(trouble.partition(":")[0] for case in cases for trouble in case.troubles)
    print("not good in them:", ", ".join(f"{name} {count}" for name, count in sorted(names.items())) or "nothing")


def tell_misses(cases: Iterable[Case]) -> None:
    """Each fault that was not named rightly, and what is not good in clean recordings besides noise."""
    for case in cases:
        if case.fault == "clean":
            told = [one for one in case.troubles if not one.startswith(("snr_", "hum"))]
            for sentence in told:
                print(f"clean {case.number} {sentence} {case.about}")
        elif case.named != case.fault:
            print(f"{case.fault} {case.number} named {case.named}: {case.about}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kinds", nargs="+", choices=[*FAULTS, "clean"])
    parser.add_argument("--first", type=int, default=500, help="number of the first case (the study has 0 to 124)")
    parser.add_argument("--count", type=int, default=20, help="cases of a kind")
    given = parser.parse_args()
    cases = looked_at([(kind, given.first + number) for number in range(given.count) for kind in given.kinds])
    tell_misses(cases)
    print_confusion([case for case in cases if case.fault != "clean"])
    if "clean" in given.kinds:
        print_clean([case for case in cases if case.fault == "clean"])


if __name__ == "__main__":
    main()
