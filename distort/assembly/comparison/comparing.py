"""Two sides compared: rungs of equal drive or equal output put side by side, then judged together."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Literal

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.common.quantities import GAIN, GAIN_OF_MULTITONE, RESPONSE, RESPONSE_OF_MULTITONE, Quantity
from distort.analysis.comparison.curves import at_output, changes, lowest_in_common
from distort.analysis.comparison.fault_changes import FaultChange, anomaly_changes, finding_changes
from distort.analysis.comparison.fault_places import Sides, at_anomaly, at_finding
from distort.analysis.comparison.regions import Region, changed_regions
from distort.analysis.comparison.significance import Curve, Difference, compare
from distort.analysis.findings.across import FindingAcross
from distort.analysis.findings.finding import Finding
from distort.assembly.comparison.near_field import MEANT_TO_DIFFER, WHY_NO_FAULTS, highest_hz, orders_alone
from distort.assembly.comparison.proved import proved
from distort.assembly.comparison.setup_differences import SetupDifference, same_multitones, unlike
from distort.assembly.comparison.side import Side
from distort.errors import AnalysisError
from distort.session.results.faults_found import FaultsFound, read_faults

Basis = Literal["drive", "output"]

SAME_DRIVE_DB = 0.05
"""Drives nearer than this are the same rung: half a digit of what a plan states."""

SAME_OUTPUT_DB = 0.1
"""An output so near to a rung's is that rung's: nobody sets a level closer."""

BETWEEN_ALONE = (RESPONSE_OF_MULTITONE, GAIN, GAIN_OF_MULTITONE)
"""Compression is made from these; they are not compared themselves, since the sweep has the response."""


@dataclass(frozen=True, kw_only=True)
class AtOutput:
    """A level of A with the output that it gave, and the levels of B that give as much."""

    level_db_spl: float
    output_db: float
    levels_b_db_spl: tuple[float, ...]
    """One that gives it, two to interpolate between, or none: B was not measured there."""


@dataclass(frozen=True, kw_only=True)
class Paired:
    """Which levels were put side by side."""

    alone_a_db_spl: tuple[float, ...] = ()
    """Levels of A of whose drive B has none, and the other way round: not compared."""
    alone_b_db_spl: tuple[float, ...] = ()
    partners: Mapping[float, float] = field(default_factory=dict)
    """At equal drive: levels of A by that of B."""
    outputs: tuple[AtOutput, ...] = ()
    """At equal output: every level of A."""
    one_uncalibrated: bool = False
    """So that the responses are not compared."""
    references_db_spl: tuple[float, ...] = ()
    """Levels of A against which the compression of both sides is stated, that of multitones second where it is another;
    none: the sides have no two levels in common, or a drive is not known."""
    restated: bool = False
    """Because that is not the lowest level of each side."""


@dataclass(frozen=True, kw_only=True)
class Compared:
    """Everything a comparison says; differences are B less A."""

    a: Side
    b: Side
    basis: Basis
    unlike: tuple[SetupDifference, ...]
    paired: Paired
    curves_a: tuple[Curve, ...]
    curves_b: tuple[Curve, ...]
    """As they were compared."""
    differences: tuple[Difference, ...]
    regions: tuple[Region, ...]
    calibration_db: float | None
    """95 % half-width that was said; None: none was."""
    anomalies: tuple[FaultChange[Anomaly], ...]
    findings: tuple[FaultChange[Finding], ...]
    no_faults: str | None
    """Why anomalies and findings are not compared; None: they are."""
    near_field_hz: float | None = None
    """Up to where products were compared; None: neither side is in the near field."""
    proved: tuple[FindingAcross, ...] = ()
    """Findings of which one of the sides proves something, since it was changed or is in the near field."""


def default_basis(a: Side, b: Side) -> Basis:
    """Equal drive for one loudspeaker in two conditions and for a near field, equal output for two loudspeakers."""
    if a.near_field or b.near_field:
        return "drive"
    one, other = a.sweeps[0].sidecar.loudspeaker, b.sweeps[0].sidecar.loudspeaker
    return "drive" if (one.name, one.unit) == (other.name, other.unit) else "output"


def compare_sides(a: Side, b: Side, *, basis: Basis | None = None, calibration_db: float | None = None) -> Compared:
    """Compare B with A.

    basis            "drive": rungs played with the same drive; "output": at the outputs that A's rungs gave, B between
                     its own rungs, never beyond; None: as `default_basis` has it
    calibration_db   half-width of the 95 % interval of one side's calibration against the other's

    Of a near field the orders alone are compared, re the fundamental.

    Raises AnalysisError when no rung of one side can be put beside the other, SessionError for results.
    """
    chosen = basis or default_basis(a, b)
    near_field_hz = highest_hz(a, b)
    if near_field_hz is not None:
        if chosen == "output":
            raise AnalysisError("the output of a near field is none at a distance: leave --basis output out")
        a, b = orders_alone(a, near_field_hz), orders_alone(b, near_field_hz)
    left_out: set[Quantity] = set()
    if not same_multitones(a, b):
        left_out |= {one.quantity for one in (*a.curves, *b.curves) if one.quantity.stimulus == "multitone"}
    one_uncalibrated = len({side.sweeps[0].sidecar.calibration is None for side in (a, b)}) == 2
    if one_uncalibrated:
        left_out.add(RESPONSE)
    sides = _without(a, left_out), _without(b, left_out)
    curves_a, curves_b, paired = (_at_equal_drive if chosen == "drive" else _at_equal_output)(*sides)
    references = lowest_in_common(curves_a, curves_b)
    curves_a, curves_b = (
        (*(one for one in side if one.quantity not in BETWEEN_ALONE), *changes(side, references))
        for side in (curves_a, curves_b)
    )
    differences = compare(curves_a, curves_b, calibration_db=calibration_db or 0.0, repeats=(*a.repeats, *b.repeats))
    faults = [read_faults(side.folder, side.condition, side.recordings) for side in (a, b)]
    reasons = [one for one in faults if isinstance(one, str)]
    proof = () if reasons else proved(a, b)
    reasons += [WHY_NO_FAULTS] if near_field_hz is not None else []
    found = [] if near_field_hz is not None else [one for one in faults if not isinstance(one, str)]
    return Compared(
        a=a,
        b=b,
        basis=chosen,
        unlike=tuple(one for one in unlike(a, b) if near_field_hz is None or one.what not in MEANT_TO_DIFFER),
        paired=replace(_with_references(paired, sides, references), one_uncalibrated=one_uncalibrated),
        curves_a=curves_a,
        curves_b=curves_b,
        differences=differences,
        regions=changed_regions(differences),
        calibration_db=calibration_db,
        anomalies=_of_anomalies(found, (curves_a, curves_b)),
        findings=_of_findings(found, (curves_a, curves_b)),
        no_faults="; ".join(dict.fromkeys(reasons)) or None,
        near_field_hz=near_field_hz,
        proved=proof,
    )


def _with_references(paired: Paired, sides: tuple[Side, Side], references: Mapping[Quantity, float]) -> Paired:
    """With what compression is stated against: `references` by gain, as levels of A."""

    def lowest(side: Side, gain: Quantity) -> float:
        return min(one.level_db_spl for one in side.curves if one.quantity == gain)

    a, b = sides
    own = [(lowest(a, gain), paired.partners.get(lowest(b, gain))) for gain in references]
    return replace(
        paired,
        references_db_spl=tuple(dict.fromkeys(references.values())),
        restated=own != [(level, level) for level in references.values()],
    )


def _without(side: Side, quantities: Collection[Quantity]) -> Side:
    return replace(side, curves=tuple(one for one in side.curves if one.quantity not in quantities))


def _of_anomalies(found: Sequence[FaultsFound], curves: Sides) -> tuple[FaultChange[Anomaly], ...]:
    """None where one side has no faults to be compared."""
    if len(found) < 2:
        return ()
    return anomaly_changes(found[0].anomalies, found[1].anomalies, rises_db=partial(at_anomaly, curves))


def _of_findings(found: Sequence[FaultsFound], curves: Sides) -> tuple[FaultChange[Finding], ...]:
    if len(found) < 2:
        return ()
    return finding_changes(found[0].findings, found[1].findings, rises_db=partial(at_finding, curves))


Matched = tuple[tuple[Curve, ...], tuple[Curve, ...], Paired]
"""Curves of A, those of B under the levels of A, and which these are."""


def _at_equal_drive(a: Side, b: Side) -> Matched:
    partner = {}
    for level, drive_dbfs in a.drives_dbfs.items():
        near = min(b.drives_dbfs, key=lambda other: abs(b.drives_dbfs[other] - drive_dbfs))
        if abs(b.drives_dbfs[near] - drive_dbfs) <= SAME_DRIVE_DB:
            partner[near] = level
    if not partner:
        raise AnalysisError(
            f"no level of {a.name} was played with the drive of a level of {b.name}: compare them with --basis output"
        )
    moved = tuple(
        replace(one, level_db_spl=partner[one.level_db_spl]) for one in b.curves if one.level_db_spl in partner
    )
    alone_a = tuple(level for level in a.drives_dbfs if level not in partner.values())
    alone_b = tuple(level for level in b.drives_dbfs if level not in partner)
    return a.curves, moved, Paired(partners=partner, alone_a_db_spl=alone_a, alone_b_db_spl=alone_b)


def _at_equal_output(a: Side, b: Side) -> Matched:
    units = {side.sweeps[0].sidecar.calibration is None for side in (a, b)}
    if units != {False}:
        raise AnalysisError("equal output needs a calibration on both sides: use --basis drive, or calibrate")
    curves_a: list[Curve] = []
    curves_b: list[Curve] = []
    outputs = []
    for level, output_db in a.outputs_db.items():
        nearest_db = min(b.outputs_db.values(), key=lambda rung_db: abs(rung_db - output_db))
        target_db = nearest_db if abs(nearest_db - output_db) <= SAME_OUTPUT_DB else output_db
        own = [one for one in a.curves if one.level_db_spl == level]
        others = _interpolated(b, [(one.quantity, one.octaves) for one in own], target_db, level)
        used = _rungs_used(b, target_db) if others else ()
        outputs.append(AtOutput(level_db_spl=level, output_db=output_db, levels_b_db_spl=used))
        if others:
            curves_a += own
            curves_b += others
    if not curves_a:
        raise AnalysisError(
            f"the outputs of {a.name} and {b.name} do not overlap: {_outputs_of(a)}, {_outputs_of(b)}, and nothing is "
            f"extrapolated"
        )
    return tuple(curves_a), tuple(curves_b), Paired(outputs=tuple(outputs))


def _outputs_of(side: Side) -> str:
    low_db, high_db = min(side.outputs_db.values()), max(side.outputs_db.values())
    return f"{side.name} was measured from {low_db:.1f} to {high_db:.1f} dB SPL"


def _interpolated(
    b: Side, keys: Sequence[tuple[Quantity, float]], output_db: float, level_db_spl: float
) -> list[Curve]:
    found = []
    for quantity, octaves in keys:
        ladder = [
            (b.outputs_db[one.level_db_spl], one)
            for one in b.curves
            if (one.quantity, one.octaves) == (quantity, octaves) and one.level_db_spl in b.outputs_db
        ]
        curve = at_output(ladder, output_db, level_db_spl)
        if curve is not None:
            found.append(curve)
    return found


def _rungs_used(b: Side, output_db: float) -> tuple[float, ...]:
    """The level of B that gives `output_db` exactly, else those below and above it."""
    rungs = sorted((rung_db, level) for level, rung_db in b.outputs_db.items())
    for rung_db, level in rungs:
        if rung_db == output_db:
            return (level,)
    below = max(level for rung_db, level in rungs if rung_db < output_db)
    above = min(level for rung_db, level in rungs if rung_db > output_db)
    return below, above
