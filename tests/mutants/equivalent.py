"""Slips that change nothing that anybody can see: `equivalent.txt` has each under its proof, and no draw has them.

A line that begins with `# ` is (part of) a proof; the lines below it are the slips that it holds for, by `Change.key`:
the last two parts of the path, the function, what was written and what took its place.
"""

from pathlib import Path

KEPT_IN = Path(__file__).with_name("equivalent.txt")


def proofs() -> dict[str, str]:
    """The proof of each slip that is left out, by `Change.key`."""
    found: dict[str, str] = {}
    proof, complete = "", True
    for line in KEPT_IN.read_text(encoding="utf-8").splitlines():
        if line.startswith("# "):
            proof = line.removeprefix("# ") if complete else f"{proof} {line.removeprefix('# ')}"
            complete = False
        elif line:
            found[line] = proof
            complete = True
    return found


def out_of_date(keys: set[str]) -> list[str]:
    """Slips that stand in the file and are possible no longer: what they changed was written anew."""
    return [key for key in proofs() if key not in keys]
