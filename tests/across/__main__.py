"""Tries what is said across conditions on made loudspeakers, and prints a row a family.

`python -m tests.across --seeds even --count 6` reports, `--seeds odd` is for looking at; what was tried is kept, and
tried anew when the program or a family changes.
"""

import argparse
import os
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

SOURCES = ("signals", "distort", "tests/families", "tests/across")


def try_case(job: Sequence[Any]) -> dict[str, Any]:
    """Family and seed of a session, and what came of it, as JSON holds it."""
    import tempfile
    from dataclasses import asdict

    from tests.across.catalogue import FAMILIES
    from tests.across.judged import analysed, judged

    with tempfile.TemporaryDirectory(prefix="across-") as folder:
        made = FAMILIES[str(job[0])](int(job[1]))
        found = judged(made, *analysed(made, Path(folder)))
    return {**asdict(found), "verdict": found.verdict}


def lines(answers: Sequence[dict[str, Any]], *, listed: str) -> Iterator[str]:
    """The table; then what is wrong, or all that is said."""
    yield f"{'':<18}{'right':>7}{'silent':>7}{'wrong':>7}"
    for family in dict.fromkeys(one["family"] for one in answers):
        count = Counter(one["verdict"] for one in answers if one["family"] == family)
        yield f"{family:<18}{count['right']:>7}{count['silent']:>7}{count['wrong']:>7}"
    for one in answers:
        if listed == "all" or (listed == "wrong" and one["wrong"]):
            yield f"{one['family']} {one['seed']} ({one['note']}): {one['verdict']}, {one['found']} of {one['faults']}"
            for wrong in one["wrong"]:
                yield f"    {wrong['rule'].upper()}: {wrong['sentence']}"
            for said in one["said"] if listed == "all" else ():
                yield f"    - {said}"


def main() -> None:
    """Try, and print."""
    for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(threads, "1")  # before a library reads it: small matrices are quicker so
    from tests.across.catalogue import FAMILIES
    from tests.kept_answers import journal, kept_answers

    parser = argparse.ArgumentParser(
        prog="python -m tests.across", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--family", choices=FAMILIES, action="append", help="this one (default: all)")
    parser.add_argument("--seeds", choices=("odd", "even"), default="odd", help="rules are tuned on odd ones alone")
    parser.add_argument("--count", type=int, default=2, help="of each family (default: 2)")
    parser.add_argument("--skip", type=int, default=0, help="leave out so many (default: 0)")
    parser.add_argument("--processes", type=int, default=1, help="that share the work (default: 1)")
    parser.add_argument("--list", choices=("nothing", "wrong", "all"), default="wrong", help="below the table")
    arguments = parser.parse_args()
    first = (1 if arguments.seeds == "odd" else 2) + 2 * arguments.skip
    seeds = range(first, first + 2 * arguments.count, 2)
    jobs = [[family, seed] for seed in seeds for family in arguments.family or FAMILIES]
    found = list(
        kept_answers(try_case, jobs, journal=journal("distort_across", SOURCES), processes=arguments.processes)
    )
    for line in lines(sorted(found, key=lambda one: list(FAMILIES).index(one["family"])), listed=arguments.list):
        print(line)


if __name__ == "__main__":
    main()
