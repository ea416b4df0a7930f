"""What results say of recordings that were mended: how they were called before, when their calibration came."""

from collections.abc import Iterator, Sequence

from distort.session.recordings.mended import AppliedAfterwards, Relabelled
from distort.session.results.condition_results import Findings


def mended_words(relabelled: Sequence[Relabelled], applied: AppliedAfterwards | None) -> Iterator[str]:
    """What a recording was called before, and that its calibration came later; nothing where nothing was mended."""
    yield from (f"It was called {one.before} before: {one.reason.rstrip('.')}." for one in relabelled)
    if applied is not None:
        yield f"Its calibration was read afterwards, on {applied.calibrated[:10]}."


def applied_sentence(findings: Findings) -> str | None:
    """On what the levels rest where recordings were calibrated afterwards; None where none was."""
    given = [one for one in findings.recordings if one.applied_afterwards is not None and one.rejected is None]
    if not given:
        return None
    days = sorted({one.applied_afterwards.calibrated[:10] for one in given if one.applied_afterwards is not None})
    which = "All" if len(given) == sum(one.rejected is None for one in findings.recordings) else f"{len(given)} of the"
    return (
        f"{which} recordings were made before the calibration of {' and '.join(days)}, which was applied to them "
        f"afterwards: that no gain changed in between is the tester's statement, and nothing here can show it."
    )
