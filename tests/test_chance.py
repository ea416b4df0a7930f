"""The chance probability is calibrated: of unrelated curves, one in twenty lines up as well as p = 0.05 says."""

import numpy as np
import pytest

from distort.analysis.coincidences.chance import Chance, Pair, standardised
from tests.devices.line_ups import ROWS_HZ, FloatArray, ripple

KINDS = ("plain", "shared trend", "rougher at low frequencies")


def curve(random: np.random.Generator, kind: str, trend_db: FloatArray) -> FloatArray:
    """One of two unrelated curves, `(rows,)` dB."""
    made = ripple(random, ROWS_HZ, deviation_db=random.uniform(0.3, 1.5), octaves=random.uniform(1 / 12, 1 / 3))
    if kind == "shared trend":
        return made + trend_db
    if kind == "rougher at low frequencies":  # four times as rough at 20 Hz as from 600 Hz on
        return made * (1.0 + 3.0 * np.clip(1.0 - np.log10(ROWS_HZ / 20.0) / 1.5, 0.0, None))
    return made


def pair(seed: int, kind: str) -> Pair:
    random = np.random.default_rng([11, seed])
    trend_db = np.polyval(random.normal(size=3) * [3.0, 6.0, 0.0], np.log10(ROWS_HZ / 1000.0))
    one, other = curve(random, kind, trend_db), curve(random, kind, trend_db)
    return Pair(rise=standardised(ROWS_HZ, one), anomaly=np.abs(standardised(ROWS_HZ, other)))


def significant(kind: str, pairs: int) -> float:
    """Share of unrelated pairs under 0.05."""
    return float(np.mean([(Chance([pair(seed, kind)]).pair(0) or 1.0) < 0.05 for seed in range(pairs)]))


@pytest.mark.first(1)
@pytest.mark.parametrize("kind", KINDS)
def test_a_sample_of_unrelated_pairs(kind: str) -> None:
    """Of 150 pairs 7.5 are expected under 0.05; more than 15 have a probability below 1 %, binomial."""
    assert significant(kind, 150) <= 15 / 150


def test_a_shared_bump_and_shared_ripple_are_noticed() -> None:
    """The same ripple in both curves, and three bumps at the same places in unrelated ripple."""
    random = np.random.default_rng(3)
    same = ripple(random, ROWS_HZ, deviation_db=1.0, octaves=1 / 6)
    rows = standardised(ROWS_HZ, same)
    assert (Chance([Pair(rise=rows, anomaly=np.abs(rows))]).pair(0) or 1.0) < 0.01
    bumps = sum(8.0 * np.exp(-0.5 * (np.log2(ROWS_HZ / f) * 10.0) ** 2) for f in (300.0, 1100.0, 3700.0))
    made = [bumps + ripple(random, ROWS_HZ, deviation_db=0.5, octaves=1 / 6) for _ in range(2)]
    found = Pair(rise=standardised(ROWS_HZ, made[0]), anomaly=np.abs(standardised(ROWS_HZ, made[1])))
    assert (Chance([found]).pair(0) or 1.0) < 0.01


def test_a_report_asks_for_more_than_a_pair() -> None:
    """The best of 40 unrelated pairs has a small probability alone; in the report it has none."""
    chance = Chance([pair(seed, "plain") for seed in range(40)])
    alone = [chance.pair(index) or 1.0 for index in range(40)]
    assert min(alone) < 0.1
    assert chance.of_report(min(alone)) > 3.0 * min(alone)


def report_names_any(seed: int, pairs: int = 40) -> bool:
    """One response against many unrelated distortion curves, as in a report."""
    random = np.random.default_rng([13, seed])
    response = np.abs(standardised(ROWS_HZ, curve(random, "plain", np.zeros_like(ROWS_HZ))))
    rises = [standardised(ROWS_HZ, curve(random, "plain", np.zeros_like(ROWS_HZ))) for _ in range(pairs)]
    chance = Chance([Pair(rise=rise, anomaly=response) for rise in rises])
    return any(chance.of_report(chance.pair(index) or 1.0) < 0.05 for index in range(pairs))


@pytest.mark.study
def test_unrelated_pairs_at_length() -> None:
    """2,000 pairs of each kind: 4 to 6.5 % under 0.05. 200 reports: at most 5 % name any, plus what 200 can tell."""
    shares = {kind: significant(kind, 2000) for kind in KINDS}
    print(shares)
    reports = float(np.mean([report_names_any(seed) for seed in range(200)]))
    print(f"reports that name any: {reports:.3f}")
    assert all(0.04 <= share <= 0.065 for share in shares.values())
    assert reports <= 0.05 + 0.03  # two standard deviations of a share of 0.05 among 200
