"""Whether what near fields prove of a harmonic is so: cones and ports of known strengths, drawn at random.

python -m tests.near_field_study --first 1000 --count 300
"""

import argparse
import math
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from distort.analysis.findings.measured import Measured, NearField, OrderPlace, order_read
from distort.analysis.findings.near_field import UP_TO_KA_1_DB, near_field_verdict
from distort.analysis.sweep.sweeps import Reference, Settings, read_sweep, sweep_harmonics, sweep_response
from signals import Sweep
from tests.devices.two_radiators import Place, TwoRadiators, drawn
from tests.test_fault_changes import risen

FIRST_REPORTED = 1000
"""Seeds below were looked at when the rules were made."""

SWEEP = Sweep(start_hz=15.0, full_level_hz=24.0, stop_hz=7200.0, seconds=3.0, sample_rate=16000, drive_dbfs=-12.0)
HIGHEST_HZ = 1092.0
"""ka = 1 of a radius of 50 mm."""

PLACES: tuple[Place, ...] = ("stand", "cone", "port")
AT_MOST = re.compile(r"at most ([0-9.]+) dB weaker at (\w+) than in stand")
AT_LEAST = re.compile(r"at least ([0-9.]+) dB weaker at (\w+) than in stand")
SHOWN_DB = 0.05
"""Half a digit of what is printed."""


@dataclass(frozen=True, kw_only=True)
class Told:
    """What was said of one device, and whether it is so."""

    seed: int
    said: str
    """ "makes it", "does not make it", "open", or "not readable"."""
    right: bool
    """The fall that is stated as the most, or the least, is. Of what says nothing: True."""
    ratio_right: bool
    """So much more lies the ratio of one near field above that of the other, within the stated interval."""
    sentence: str


def measured(device: TwoRadiators, place: Place, *, noise: float, seed: int) -> Measured:
    """One microphone's readings, through the whole analysis of a sweep."""
    read = read_sweep([device.take(place, SWEEP, noise=noise, seed=seed)], SWEEP, Settings(orders=4))
    response = sweep_response(read, Reference())
    return Measured(
        condition=place,
        findings=(),
        levels_db_spl=(96.0,),
        harmonics=(sweep_harmonics(read, Reference(), linear=response),),
        response=response,
        near_field=None if place == "stand" else NearField(highest_hz=HIGHEST_HZ, radius_known=True),
    )


def told(seed: int) -> Told:
    """One device, looked at where its harmonic lies below ka = 1."""
    device, noise = drawn(seed)
    random = np.random.default_rng([seed, 161])
    rows = np.arange(-80, -40)  # 100 to 316 Hz
    at_hz = float(1000.0 * 10.0 ** (random.choice(rows) / 80.0))
    stand, cone, port = (
        measured(device, place, noise=noise, seed=1000 * seed + number) for number, place in enumerate(PLACES)
    )
    finding = risen(quantity=f"h{device.order}", frequency_hz=at_hz)
    sentence = near_field_verdict(replace(finding, part_of_loudspeaker=True), stand, [cone, port])
    if sentence is None:
        return Told(seed=seed, said="not readable", right=True, ratio_right=True, sentence="")
    return Told(
        seed=seed,
        said=_said(sentence),
        right=_is_so(sentence, device, at_hz),
        ratio_right=_ratio_is_so(device, at_hz, cone, port),
        sentence=sentence,
    )


def _said(sentence: str) -> str:
    if AT_LEAST.search(sentence):
        return "makes it"
    return "does not make it" if AT_MOST.search(sentence) else "open"


def _is_so(sentence: str, device: TwoRadiators, at_hz: float) -> bool:
    """By the closed form: how far each near field lies below what is heard at a distance, referred to the input."""
    below_db = {place: device.input_db("stand", at_hz) - device.input_db(place, at_hz) for place in ("cone", "port")}
    most, least = AT_MOST.search(sentence), AT_LEAST.search(sentence)
    if most is not None:
        return below_db[most[2]] <= float(most[1]) + SHOWN_DB
    return least is None or below_db[least[2]] >= float(least[1]) - SHOWN_DB


def _ratio_is_so(device: TwoRadiators, at_hz: float, cone: Measured, port: Measured) -> bool:
    at = OrderPlace(number=device.order, level_db_spl=96.0, frequency_hz=at_hz)
    one, other = order_read(cone, at), order_read(port, at)
    if one is None or other is None:
        return True
    true_db = device.relative_db("port", at_hz) - device.relative_db("cone", at_hz)
    off_db = other.relative_db - one.relative_db - true_db
    return abs(off_db) <= math.hypot(one.interval_db, other.interval_db, UP_TO_KA_1_DB)


def table(found: Iterable[Told]) -> str:
    """What was said how often, and how much of it is so."""
    every = list(found)
    counts = Counter(one.said for one in every)
    lines = ["    said                devices  right  ratio within its interval"]
    for said in ("makes it", "does not make it", "open", "not readable"):
        of_it = [one for one in every if one.said == said]
        if of_it:
            right, ratio = sum(one.right for one in of_it), sum(one.ratio_right for one in of_it)
            lines.append(f"    {said:18}  {counts[said]:7}  {right:5}  {ratio:5}")
    return "\n".join(lines)


def right_share(found: Iterable[Told]) -> float:
    """Of those decided."""
    decided = [one for one in found if one.said in ("makes it", "does not make it")]
    return sum(one.right for one in decided) / len(decided)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=FIRST_REPORTED)
    parser.add_argument("--count", type=int, default=300)
    arguments = parser.parse_args()
    found = [told(seed) for seed in range(arguments.first, arguments.first + arguments.count)]
    print(table(found))
    for one in found:
        if not (one.right and one.ratio_right):
            print(one.seed, one.right, one.ratio_right, one.sentence)


if __name__ == "__main__":
    main()
