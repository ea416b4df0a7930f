"""Makes sessions of the families: `python -m tests.families --family reflection --seed 3 --keep /tmp/sessions`."""

import argparse
from pathlib import Path

from tests.families.catalogue import FAMILIES, FIRST_SEED, seeds
from tests.families.folder import make_session


def main() -> None:
    """Make them, each in a folder of its own with `truth.json` beside its plan."""
    parser = argparse.ArgumentParser(prog="python -m tests.families", description=__doc__)
    parser.add_argument("--family", choices=FAMILIES, action="append", help="this one (default: all)")
    parser.add_argument("--split", choices=FIRST_SEED, default="tune", help="whose seeds")
    parser.add_argument("--count", type=int, default=1, help="of each family")
    parser.add_argument("--seed", type=int, help="this one alone")
    parser.add_argument("--keep", type=Path, required=True, metavar="FOLDER", help="where the sessions are made")
    arguments = parser.parse_args()
    for family in arguments.family or FAMILIES:
        for seed in seeds(arguments.split, arguments.count) if arguments.seed is None else [arguments.seed]:
            print(make_session(FAMILIES[family](seed), arguments.keep / f"{family}-{seed}"))


if __name__ == "__main__":
    main()
