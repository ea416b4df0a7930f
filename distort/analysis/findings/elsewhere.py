"""What another condition reads where one shows a finding: that it is not listed there does not say that it is absent.

A finding stands out from its surroundings, its noise and its ripple; the same order may be as strong elsewhere and
stand out less, or lie under a louder room's noise. So the reading itself is compared, by the rule that a changed part
is judged by (`measured.MADE_DB`): absent is what has fallen by 3 dB at least, intervals included.
"""

import math
from typing import Literal

import numpy as np

from distort.analysis.common.caution import CLEAR_OF_NOISE_DB
from distort.analysis.common.curves import Response
from distort.analysis.common.log_frequency import over_log_frequency
from distort.analysis.common.quantities import from_findings
from distort.analysis.findings.finding import Finding
from distort.analysis.findings.measured import MADE_DB, Measured, OrderPlace, order_place, order_read
from distort.analysis.findings.order_contrasts import nearest_row
from distort.analysis.impulsive.impulsive import ALONE, BESIDE

Elsewhere = Literal["as-strong", "hidden", "less", "unknown"]
""""hidden": it may be as strong there, and cannot be read; "unknown": nothing there could tell."""

STRIKES_HZ = (600.0, 16000.0)
"""In which strikes are looked for (`report/methods_impulsive.md`)."""

HALF = 0.5
"""Of a change with level: a loss half as large is as good as the same one, since a limiter's place on its curve shifts
with the response about it (own choice)."""


def elsewhere(finding: Finding, here: Measured, there: Measured) -> Elsewhere:
    """What `there` reads of a finding of `here`. Of what the way to the microphone does nothing is read: there the dip
    itself is the finding."""
    if finding.part_of_loudspeaker is not True and finding.decided:
        return "unknown"
    if "standing_out" in finding.numbers:
        return _strikes(finding, here, there)
    if not finding.numbers.keys().isdisjoint(("change_db", "excess_db")):
        return _change(finding, here, there)
    at = order_place(finding)
    return "unknown" if at is None else _order(finding, at, here, there)


def _order(finding: Finding, at: OrderPlace, here: Measured, there: Measured) -> Elsewhere:
    """Referred to the input, if it can be: a reflection raises and lowers what both make alike. A reading that is
    doubtful for another reason than noise has its interval, and is held against others by it."""
    before = order_read(here, at, doubtful=True)
    if before is None or at.level_db_spl not in there.levels_db_spl:
        return "unknown"
    above_noise_db, most_db = _beside_noise(there, at)
    after = order_read(there, at, doubtful=above_noise_db >= CLEAR_OF_NOISE_DB)
    if after is None:
        lifted_db = _lifted_db(there, at) - _lifted_db(here, at) if finding.part_of_loudspeaker else 0.0
        fell_db = before.relative_db - before.interval_db - most_db - float(np.nan_to_num(lifted_db))
        return "less" if fell_db >= MADE_DB else "hidden"
    made_db = after.input_db - before.input_db
    made_interval_db = math.hypot(before.input_interval_db, after.input_interval_db)
    if finding.part_of_loudspeaker and math.isfinite(made_db + made_interval_db):
        return _judged(made_db, made_interval_db)
    return _judged(after.relative_db - before.relative_db, math.hypot(before.interval_db, after.interval_db))


def _beside_noise(there: Measured, at: OrderPlace) -> tuple[float, float]:
    """How far the reading of an order stands above its noise, and the most that it may be re the fundamental, dB: NaN
    and infinite where no floor is known."""
    harmonics = there.harmonics[there.levels_db_spl.index(at.level_db_spl)]
    order = next((each for each in harmonics.orders if each.order == at.number), None)
    row = nearest_row(harmonics.frequency_hz, at.frequency_hz)
    if order is None or row is None or math.isnan(order.noise_db[row]):
        return math.nan, math.inf
    noise_db, read_db = float(order.noise_db[row]), float(order.relative_db[row])
    return read_db - noise_db, float(np.fmax(noise_db, read_db + order.uncertainty_db[row]))


def _lifted_db(one: Measured, at: OrderPlace) -> float:
    """By how much the way lifts the fundamental over the product of an order, dB; NaN where it is not known."""
    if one.response is None:
        return math.nan
    places = np.array([at.frequency_hz, at.product_hz])
    level = over_log_frequency(places, one.response.frequency_hz, one.response.level_db, outside=np.nan)
    return float(level[0] - level[1])


def _judged(difference_db: float, interval_db: float) -> Elsewhere:
    if difference_db + interval_db <= -MADE_DB:
        return "less"
    return "as-strong" if difference_db > -MADE_DB else "hidden"


def _change(finding: Finding, here: Measured, there: Measured) -> Elsewhere:
    """A change with level at the level and place where it is clearest, of the same sign and at least half as large."""
    row, level = finding.leading_row, finding.numbers.get("level_db_spl")
    stimulus = "sweep" if row is None else from_findings(row.quantity).stimulus
    level = row.level_db_spl if row is not None else level
    before, after = (_changed(one, stimulus, level, finding.frequency_hz) for one in (here, there))
    if before is None or after is None or before[0] == 0.0:
        return "unknown"
    share, interval = after[0] / before[0], after[1] / abs(before[0])
    if share >= HALF:
        return "as-strong"
    return "less" if share + interval < HALF else "hidden"


def _changed(one: Measured, stimulus: str, level_db_spl: float | None, at_hz: float) -> tuple[float, float] | None:
    """Change and half-width of its interval, dB; None where it is not read."""
    for curve in one.changes:
        if curve.quantity.stimulus == stimulus and curve.level_db_spl == level_db_spl:
            row = nearest_row(curve.frequency_hz, at_hz)
            if row is not None and np.isfinite(curve.change_db[row]):
                return float(curve.change_db[row]), float(np.nan_to_num(curve.uncertainty_db[row]))
    return None


def _strikes(finding: Finding, here: Measured, there: Measured) -> Elsewhere:
    """z is the power of what strikes over that of the room's noise, so it falls with louder noise, dB by dB. Noise
    itself reaches `BESIDE`, which limits what can be told, and never `ALONE`: from there on something strikes, too."""
    level_db_spl, own = finding.numbers.get("level_db_spl"), finding.numbers["standing_out"]
    levels = () if there.strikes is None else there.strikes.levels
    level = next((one for one in levels if one.level_db_spl == level_db_spl), None)
    if level is None or there.strikes is None:
        return "unknown"
    bands = there.strikes.frequency_hz
    inside = np.zeros(bands.shape, dtype=bool)
    for place in finding.places:
        inside |= (bands >= place.low_hz) & (bands <= place.high_hz)
    z = level.z[inside & np.isfinite(level.z)]
    louder_db = _louder_db(here.response, there.response)
    if z.size == 0 or not math.isfinite(louder_db) or any(_overheard(finding, one) for one in there.findings):
        return "hidden"
    found = float(np.max(z))
    fell_db = 10.0 * math.log10(max(found, BESIDE) / own) + louder_db
    if found < ALONE:
        return "less" if fell_db <= -MADE_DB else "hidden"
    of_another_kind = any(_of_another_kind(finding, one) for one in there.findings)
    return "as-strong" if fell_db > -MADE_DB and not of_another_kind else "hidden"


def _of_another_kind(finding: Finding, other: Finding) -> bool:
    """Whether what strikes there is called something else: a port's noise may hide a loose part, and the reverse."""
    strikes = other.decided and "standing_out" in other.numbers
    return strikes and other.explanation != finding.explanation and overlap(finding, other)


def overlap(one: Finding, other: Finding) -> bool:
    """Whether a place of one reaches into a place of the other."""
    return any(a.low_hz <= b.high_hz and b.low_hz <= a.high_hz for a in one.places for b in other.places)


def _overheard(finding: Finding, event: Finding) -> bool:
    """Whether something sounded there while the sweep was at a place of the finding: then nothing was listened to."""
    if event.explanation != "event-in-time" or event.numbers.get("level_db_spl") != finding.numbers.get("level_db_spl"):
        return False
    return overlap(finding, event)


def _louder_db(here: Response | None, there: Response | None) -> float:
    """By how much the room is louder there, dB, where strikes are looked for; NaN where a floor is not known."""
    if here is None or there is None or here.unit != there.unit:
        return math.nan
    low_hz, high_hz = STRIKES_HZ
    means = []
    for one in (here, there):
        inside = (one.frequency_hz >= low_hz) & (one.frequency_hz <= high_hz) & np.isfinite(one.noise_db)
        if not inside.any():
            return math.nan
        means.append(float(np.mean(one.noise_db[inside])))
    return means[1] - means[0]
