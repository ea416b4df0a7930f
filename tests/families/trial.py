"""The trial: a session of each case is made, analysed in process, judged, held against its tables, and thrown away."""

import tempfile
import time
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from tests.families.catalogue import FAMILIES
from tests.families.folder import make_session
from tests.families.held import contradictions
from tests.families.held_form import decided
from tests.families.score import judge
from tests.families.tables import Results
from tests.kept_answers import journal, kept_answers

SOURCES = ("signals", "distort", "tests/families")
"""What a kept answer rests on: when any of it changes, all cases are tried anew."""


def try_case(job: Sequence[Any]) -> dict[str, Any]:
    """Family and seed of a case, and what came of it, as JSON holds it."""
    from distort.pipeline import analyze_session

    family, seed = str(job[0]), int(job[1])
    case = FAMILIES[family](seed)
    with tempfile.TemporaryDirectory(prefix="family-") as folder:
        began = time.process_time()
        root = make_session(case, Path(folder) / "session")
        made = time.process_time()
        analyze_session(root, threads=1, progress=lambda *_: None)
        analysed = time.process_time()
        condition = Results(root).conditions[list(case.devices)[-1]]  # the truth is that of the last
        if "findings" not in condition.document:
            raise SystemExit("findings.json has no list of findings: this analysis states none that could be tried")
        return {
            "family": family,
            "seed": seed,
            "note": case.truth.note,
            "judged": [asdict(one) for one in judge(case, condition)],
            "findings": len(condition.findings),
            "decided": [one["explanation"] for one in condition.findings if decided(one)],
            "contradictions": [asdict(one) for one in contradictions(root)],
            "made_s": made - began,
            "analysed_s": analysed - made,
        }


def tried(families: Sequence[str], seeds: Sequence[int], *, processes: int) -> list[dict[str, Any]]:
    """What came of every case, as kept from a run before or tried now."""
    jobs = [[family, seed] for family in families for seed in seeds]
    kept = journal("distort_families", SOURCES)
    return list(kept_answers(try_case, jobs, journal=kept, processes=processes))
