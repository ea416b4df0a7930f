"""Tries the findings on made loudspeakers, or makes their sessions.

`python -m tests.families --split tune --count 40` tries 40 of every family and prints what came of it; what was tried
is kept, and tried anew when the program or a family changes. `--keep FOLDER` makes the sessions there instead, each
with `truth.json` beside its plan.
"""

import argparse
import os
from pathlib import Path


def main() -> None:
    """Try, or make."""
    for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(threads, "1")  # before a library reads it: small matrices are quicker so
    from tests.families.catalogue import FAMILIES, FIRST_SEED, seeds

    parser = argparse.ArgumentParser(
        prog="python -m tests.families", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--family", choices=FAMILIES, action="append", help="this one (default: all)")
    parser.add_argument("--split", choices=FIRST_SEED, default="tune", help="whose seeds (default: tune)")
    parser.add_argument("--count", type=int, default=1, help="of each family (default: 1)")
    parser.add_argument("--skip", type=int, default=0, help="leave out so many seeds that were looked at (default: 0)")
    parser.add_argument("--seed", type=int, help="this one alone")
    parser.add_argument("--processes", type=int, default=1, help="that share the work (default: 1)")
    parser.add_argument("--wrong", action="store_true", help="list every wrong case as well")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="make the sessions here, and try nothing")
    arguments = parser.parse_args()
    families = arguments.family or list(FAMILIES)
    drawn = seeds(arguments.split, arguments.count, skip=arguments.skip)
    chosen = list(drawn) if arguments.seed is None else [arguments.seed]
    if arguments.keep is not None:
        from tests.families.folder import make_session

        for family in families:
            for seed in chosen:
                print(make_session(FAMILIES[family](seed), arguments.keep / f"{family}-{seed}"))
        return
    from tests.families.summary import lines
    from tests.families.trial import tried

    for line in lines(tried(families, chosen, processes=arguments.processes), listed=arguments.wrong):
        print(line)


if __name__ == "__main__":
    main()
