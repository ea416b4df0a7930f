"""What a changed part of the set-up proves of a harmonic.

A harmonic that a part makes falls when the part is taken away. Its ratio to the fundamental is compared at the same
place and level; with the difference d and its 95 % interval u it fell by at most u - d, and by at least -d - u. A part
of it in quadrature with the rest may go unseen: that is said.

A change of the response moves the ratio as well. Where the finding is that the loudspeaker itself generates the
harmonic, it is compared referred to the input, which no response moves.
"""

import math

from distort.analysis.findings.finding import Finding
from distort.analysis.findings.measured import HARDLY_DB, MADE_DB, Measured, order_place, order_read

QUADRATURE = "a part of it a quarter of a cycle off would not show"


def changed_verdict(finding: Finding, base: Measured, changed: Measured) -> str | None:
    """What the change proves of the harmonic that leads a finding; None where it cannot be read in both."""
    at = order_place(finding)
    if at is None:
        return None
    before, after = order_read(base, at), order_read(changed, at)
    if before is None or after is None:
        return None
    ratio_db, interval_db = after.relative_db - before.relative_db, math.hypot(before.interval_db, after.interval_db)
    made_db = after.input_db - before.input_db
    said = f"With {changed.changed}, {at.words} changed by {_signed(ratio_db)} +- {interval_db:.1f} dB"
    if not finding.part_of_loudspeaker or math.isnan(made_db + after.input_interval_db + before.input_interval_db):
        return f"{said}{_proof(ratio_db, interval_db)}"
    made_interval_db = math.hypot(before.input_interval_db, after.input_interval_db)
    if abs(made_db - ratio_db) <= max(interval_db, HARDLY_DB):
        return f"{said}{_proof(made_db, made_interval_db)}"
    size = f"{_signed(made_db)} +- {made_interval_db:.1f} dB"
    return f"{said}, referred to the input by {size}{_proof(made_db, made_interval_db)}"


def _proof(difference_db: float, interval_db: float) -> str:
    at_most_db, at_least_db = max(interval_db - difference_db, 0.0), -difference_db - interval_db
    if difference_db - interval_db >= MADE_DB:
        return f", so what was changed held it down: it rose by at least {difference_db - interval_db:.1f} dB."
    if at_most_db <= HARDLY_DB:
        return f", so what was changed does not make it: it fell by at most {at_most_db:.1f} dB ({QUADRATURE})."
    if at_least_db >= MADE_DB:
        return f", so what was changed makes it: it fell by at least {at_least_db:.1f} dB."
    return f"; whether what was changed makes it is open: a fall of up to {at_most_db:.1f} dB is not excluded."


def _signed(difference_db: float) -> str:
    """Tenths with a sign; no sign before nothing."""
    tenths = round(difference_db, 1)
    return f"{tenths:+.1f}" if tenths else "0.0"
