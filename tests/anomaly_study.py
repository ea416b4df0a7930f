"""What the analysis finds of random dips and peaks that went through a sweep, and how far off it is."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.sweep.sweeps import Reference, Settings, SweepTake, read_sweep, sweep_response
from distort.assembly.condition.evidence import anomalies_of as anomalies_of_response
from distort.session.calibration.reference_responses import CurvesElsewhere
from distort.session.plan.keys import Setup
from tests.devices.anomalous_sweeps import SWEEP, Anomalous, comb, random_comb, random_resonance
from tests.devices.line_up_sweeps import ripple

SETTINGS = Settings(orders=2)
NEAR = 0.06
"""A dip counts as found within this share of its true frequency: far outside what is asked for, so that misses show."""

RIPPLES_DB = ((0.0, 0.0), (0.3, 0.6), (0.6, 1.0), (1.0, 1.5))
DIPS = 4


def anomalies_of(take: SweepTake) -> tuple[Anomaly, ...]:
    """What the tool says of one recording."""
    read = read_sweep([take], SWEEP, SETTINGS)
    return anomalies_of_response(
        read.separated,
        sweep_response(read, Reference()),
        setup=Setup(),
        elsewhere=CurvesElsewhere(curves=(), used=()),
    )


def nearest(found: Sequence[Anomaly], kind: str, frequency_hz: float) -> Anomaly | None:
    """The dip or peak at that place, if there is one."""
    near = [one for one in found if one.kind == kind and abs(one.frequency_hz / frequency_hz - 1.0) < NEAR]
    return min(near, key=lambda one: abs(one.frequency_hz - frequency_hz)) if near else None


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One dip or peak that was put in; errors are those found less those true, None where nothing was found."""

    number: int
    minimum_phase: bool
    verdict: str = "not found"
    shape: str = "not found"
    frequency_share: float | None = None
    depth_db: float | None = None
    q_share: float | None = None
    frequency_held: bool | None = None
    """Whether the stated 95 % interval holds the truth, as the next two do."""
    depth_held: bool | None = None
    q_held: bool | None = None
    reflection: float = float("nan")
    """Of the weaker arrival."""


def of_comb(job: tuple[int, tuple[float, float], bool]) -> list[Outcome]:
    """Seed, range of the ripple, and whether in a room; the first four dips up to 10 kHz."""
    seed, ripple_db, room = job
    random = np.random.default_rng([41, seed, round(100 * ripple_db[0]), room])
    one = random_comb(random, ripple_db=random.uniform(*ripple_db), room=room)
    found = anomalies_of(one.take(random))
    odd = [2 * n - 1 for n in range(1, DIPS + 1) if (2 * n - 1) * one.frequency_hz < 10000.0]
    return [_dip(one, found, (each + 1) // 2) for each in odd]


def _dip(one: Anomalous, found: Sequence[Anomaly], number: int) -> Outcome:
    true_hz = (2 * number - 1) * one.frequency_hz
    dip = nearest(found, "dip", true_hz)
    weaker = min(one.reflection, 1.0 / one.reflection)
    if dip is None:
        return Outcome(number=number, minimum_phase=one.minimum_phase, reflection=weaker)
    depth_db = dip.deviation_db - one.depth_db
    return Outcome(
        number=number,
        minimum_phase=one.minimum_phase,
        verdict=dip.phase,
        shape=dip.shape,
        frequency_share=dip.frequency_hz / true_hz - 1.0,
        depth_db=depth_db,
        frequency_held=abs(dip.frequency_hz - true_hz) <= dip.frequency_uncertainty_hz,
        depth_held=abs(depth_db) <= dip.deviation_uncertainty_db,
        reflection=weaker,
    )


def of_resonance(job: tuple[int, tuple[float, float]]) -> list[Outcome]:
    """Seed and range of the ripple."""
    seed, ripple_db = job
    random = np.random.default_rng([43, seed, round(100 * ripple_db[0])])
    one = random_resonance(random, ripple_db=random.uniform(*ripple_db))
    found = nearest(anomalies_of(one.take(random)), one.kind, one.frequency_hz)
    if found is None:
        return [Outcome(number=1, minimum_phase=one.minimum_phase)]
    return [
        Outcome(
            number=1,
            minimum_phase=one.minimum_phase,
            verdict=found.phase,
            shape=found.shape,
            frequency_share=found.frequency_hz / one.frequency_hz - 1.0,
            q_share=found.q / one.q - 1.0,
            frequency_held=abs(found.frequency_hz - one.frequency_hz) <= found.frequency_uncertainty_hz,
            q_held=abs(found.q - one.q) <= found.q_uncertainty,
        )
    ]


VERDICTS = ("minimum-phase", "not-minimum-phase", "unknown", "not found")


def confusion(outcomes: Sequence[Outcome]) -> str:
    """Truths down, verdicts across."""
    rows = ["    truth              " + "  ".join(VERDICTS)]
    for truth, name in ((True, "minimum-phase"), (False, "not-minimum-phase")):
        count = Counter(one.verdict for one in outcomes if one.minimum_phase is truth)
        rows.append(f"    {name:17s}  " + "  ".join(f"{count[each]:{len(each)}d}" for each in VERDICTS))
    return "\n".join(rows)


def errors(outcomes: Sequence[Outcome], name: str, *, held: str, within: float, scale: float = 1.0) -> str:
    """Median and 95th percentile of an error, share within what is asked for, and of intervals that hold the truth."""
    values = np.abs([getattr(one, name) for one in outcomes if getattr(one, name) is not None])
    if values.size == 0:
        return f"{'':>40s}"
    hold = [getattr(one, held) for one in outcomes if getattr(one, held) is not None]
    median, most = scale * np.quantile(values, [0.5, 0.95])
    return f"{median:8.3f} {most:8.3f} {100 * np.mean(values <= within):6.0f} % {100 * np.mean(hold):6.0f} %"


def of_weak_comb(job: tuple[int, float]) -> Outcome:
    """Seed and reflection (0: none); in ripple of 0.3 dB, first dip at 100 Hz to 4 kHz. The first dip, or any."""
    seed, reflection = job
    random = np.random.default_rng([47, seed, round(1000 * reflection)])
    hz = float(np.exp(random.uniform(np.log(100.0), np.log(4000.0))))
    one = comb(hz, reflection, ripples=[ripple(random, 0.3)], ripple_db=0.3, noise_dbfs=random.uniform(-90.0, -60.0))
    found = [each for each in anomalies_of(one.take(random)) if each.shape == "interference"]
    if reflection == 0.0:
        return Outcome(number=1, minimum_phase=True, shape=found[0].shape if found else "not found")
    return _dip(one, found, 1)


def table_of_combs(outcomes: Sequence[Outcome]) -> str:
    """One row for the first dips and one for the later ones."""
    rows = []
    for name, chosen in (
        ("first", [one for one in outcomes if one.number == 1]),
        ("later", [one for one in outcomes if one.number > 1]),
    ):
        known = [one for one in chosen if one.shape == "interference"]
        rows.append(
            f"{name:5s} {len(known):4d} of {len(chosen):4d}"
            + errors(known, "frequency_share", held="frequency_held", within=0.01, scale=100.0)
            + errors(known, "depth_db", held="depth_held", within=0.3)
        )
    return "\n".join(rows)


def table_of_resonances(outcomes: Sequence[Outcome]) -> str:
    """One row."""
    known = [one for one in outcomes if one.frequency_share is not None]
    return (
        f"      {len(known):4d} of {len(outcomes):4d}"
        + errors(known, "frequency_share", held="frequency_held", within=0.01, scale=100.0)
        + errors(known, "q_share", held="q_held", within=0.1, scale=100.0)
    )
