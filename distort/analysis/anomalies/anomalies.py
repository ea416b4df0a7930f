"""Dips and peaks of a response against its own trend: where, how large, how wide, of what kind."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.anomalies.anomaly import Anomaly, Elsewhere, Equaliser, Kind, PhaseVerdict, Shape
from distort.analysis.anomalies.comb_shapes import CombFit, comb_fit, half_depth_hz
from distort.analysis.anomalies.delayed_copies import find_delayed_copy, numbers_in
from distort.analysis.anomalies.dip_shapes import SecondOrderFit, second_order_fit
from distort.analysis.anomalies.fine_response import FineResponse
from distort.analysis.anomalies.minimum_phase import PhaseJudge
from distort.analysis.anomalies.outstanding import (
    EDGE_OCTAVES,
    LEAST_DB,
    Found,
    all_outstanding,
    half_width,
)
from distort.analysis.anomalies.trend import Detrended, detrended
from distort.analysis.common.grid import grid_hz
from distort.analysis.common.sound_in_air import speed_of_sound_m_s

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

PASSBAND_DB = 10.0
"""Roll-offs begin where the level stays this far below its median: no trend follows 24 dB an octave round a corner."""

SHOWN_OCTAVES = 1.0 / 12.0
"""Smoothing of a response of which nothing finer is known."""

FILLED, KEPT = 1.0 / 3.0, 2.0 / 3.0
"""Share of the deviation that is left elsewhere: below the first it fills in, above the second it is kept."""

COMB_BETTER = 0.6
"""A comb must leave less than this share of what second-order zeros leave over the same rows."""

FREQUENCY_FLOOR, Q_FLOOR, DEPTH_FLOOR_DB = 1e-4, 0.015, 0.1
"""No interval is narrower than what the fits miss on shapes without ripple or noise (measured: tests/STUDIES.md)."""

SAME_DELAY = 0.02
"""Two dips belong to one comb when their delays agree within this share; dips are to be placed within 1 %."""

SAME_PLACE = 0.2
"""Of the distance between two dips of a comb: what lies nearer to the place of one of them is that dip."""

LEAST_COMB_DB = 1.5
"""Peak to dip of a comb that only all of its dips tell; a weaker one is not listed (own choice)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class CurveElsewhere:
    """A response measured elsewhere: in the free field, or averaged over places; `(points,)` each, ascending."""

    frequency_hz: FloatArray
    level_db: FloatArray

    def at(self, frequency_hz: FloatArray) -> FloatArray:
        """Level in dB on other rows, straight over log frequency; NaN beyond the ends."""
        return np.asarray(
            np.interp(np.log(frequency_hz), np.log(self.frequency_hz), self.level_db, left=np.nan, right=np.nan)
        )


_LookedAt = tuple[Found, SecondOrderFit, CombFit | None]


def find_anomalies(
    frequency_hz: FloatArray,
    level_db: FloatArray,
    *,
    fine: FineResponse | None = None,
    elsewhere: Sequence[CurveElsewhere] = (),
    temperature_c: float = 20.0,
    lowest_valid_hz: float = 0.0,
) -> tuple[Anomaly, ...]:
    """Every dip and peak of a response, from the lowest frequency up.

    frequency_hz, level_db   `(rows,)`, evenly spaced in log frequency, smoothed as it is shown; NaN: no reading
    fine                     the same response unsmoothed, for depth, width, Q and phase; None: the curve itself
    elsewhere                curves that may keep a dip or fill it in; their mean power counts
    """
    held = within_passband(np.where(frequency_hz >= lowest_valid_hz, level_db, np.nan))
    against = detrended(frequency_hz, held)
    if fine is None:
        known = np.isfinite(held)
        fine = FineResponse(
            frequency_hz=frequency_hz[known],
            level_db=held[known],
            phase_rad=None,
            smoothing_octaves=SHOWN_OCTAVES,
        )
    judge = PhaseJudge(fine)
    c_m_s = speed_of_sound_m_s(temperature_c)
    looked_at: list[_LookedAt] = [(one, *_shapes(one, fine)) for one in all_outstanding(against, held)]
    looked_at += _first_dips(looked_at, fine, against)
    looked_at = [_as_later_dip(each, looked_at, fine) for each in looked_at]
    looked_at = _with_weak_copy(looked_at, fine)
    return tuple(
        _described(each, fine, against, number=number, judge=judge, elsewhere=elsewhere, c_m_s=c_m_s)
        for number, each in enumerate(sorted(looked_at, key=lambda each: each[0].centre_hz), start=1)
    )


def within_passband(level_db: FloatArray) -> FloatArray:
    """`level_db` `(rows,)` without its roll-offs: NaN from either end up to the first row near the median."""
    known = np.isfinite(level_db)
    if not np.any(known):
        return level_db
    near = np.flatnonzero(np.nan_to_num(level_db, nan=-np.inf) > np.median(level_db[known]) - PASSBAND_DB)
    row = np.arange(level_db.size)
    return np.where((row >= near[0]) & (row <= near[-1]), level_db, np.nan)


def _first_dips(looked_at: Sequence[_LookedAt], fine: FineResponse, against: Detrended) -> list[_LookedAt]:
    """Lower dips of the combs whose later dips stand out: the first is so broad that the trend follows it in part.

    One counts where the response is lowest near by, and where its own fit finds the comb of the later dip again.
    """
    more: list[_LookedAt] = []
    f, deviation_db = against.frequency_hz, against.deviation_db
    for comb in [comb for *_, comb in looked_at if comb is not None]:
        for number in range(1, comb.number):
            place_hz = (number - 0.5) / comb.delay_s
            known = [one.centre_hz for one, *_ in (*looked_at, *more) if one.dip]
            near = np.flatnonzero(np.isfinite(deviation_db) & (np.abs(np.log2(f / place_hz)) < EDGE_OCTAVES))
            if near.size < 3 or any(abs(np.log2(other / place_hz)) < 2.0 * EDGE_OCTAVES for other in known):
                continue
            row = int(near[np.argmin(deviation_db[near])])
            if row in (near[0], near[-1]) or deviation_db[row] > -LEAST_DB:
                continue
            one = Found(True, float(f[row]), float(deviation_db[row]), *half_width(against, row))
            poles, own = _shapes(one, fine)
            if own is not None and own.number == number and abs(own.delay_s / comb.delay_s - 1.0) < SAME_DELAY:
                more.append((one, poles, own))
    return more


def _as_later_dip(each: _LookedAt, looked_at: Sequence[_LookedAt], fine: FineResponse) -> _LookedAt:
    """The dip as one of a comb that earlier dips tell, where it lies at its place and the comb's own fit agrees."""
    one, poles, own = each
    if not one.dip or own is not None:
        return each
    for comb in [comb for *_, comb in looked_at if comb is not None]:
        place = one.centre_hz * comb.delay_s + 0.5
        number = round(place)
        off = abs(place - number)
        if off > min(SAME_DELAY * (number - 0.5), SAME_PLACE):  # below the first dip the allowance is negative
            continue
        found = comb_fit(
            fine.frequency_hz,
            fine.level_db,
            centre_hz=(number - 0.5) / comb.delay_s,
            depth_db=comb.depth_db,
            smoothing_octaves=fine.smoothing_octaves,
            numbers=(number,),
        )
        if found is not None and abs(found[0].delay_s / comb.delay_s - 1.0) < SAME_DELAY:
            return one, poles, found[0]
    return each


def _with_weak_copy(looked_at: Sequence[_LookedAt], fine: FineResponse) -> list[_LookedAt]:
    """The same, and the dips of a delayed copy that only all of them together tell, where there is one.

    What stands out at the place of one of them is that dip. Dips of a comb that is known already stay as they are.
    """
    kept = list(looked_at)
    rows = np.flatnonzero(np.isfinite(within_passband(fine.level_db)))
    if rows.size == 0:
        return kept
    band = slice(int(rows[0]), int(rows[-1]) + 1)
    copy = find_delayed_copy(fine.frequency_hz[band], fine.level_db[band], smoothing_octaves=fine.smoothing_octaves)
    if copy is None:
        return kept
    for number in numbers_in(copy, fine.frequency_hz[band]):
        comb = copy.dip(number)
        if 20.0 * np.log10((1.0 + comb.reflection) / (1.0 - comb.reflection)) < LEAST_COMB_DB:
            continue
        near = [
            index
            for index, (one, *_) in enumerate(kept)
            if one.dip and abs(one.centre_hz - comb.frequency_hz) * comb.delay_s < SAME_PLACE
        ]
        for index in near:
            one, poles, own = kept[index]
            kept[index] = one, poles, comb if own is None else own
        if not near:
            low_hz, high_hz = half_depth_hz(comb)
            one = Found(True, comb.frequency_hz, comb.depth_db, low_hz, high_hz)
            kept.append((one, _shapes(one, fine)[0], comb))
    return kept


def _described(
    looked_at: _LookedAt,
    fine: FineResponse,
    against: Detrended,
    *,
    number: int,
    judge: PhaseJudge,
    elsewhere: Sequence[CurveElsewhere],
    c_m_s: float,
) -> Anomaly:
    one, poles, comb = looked_at
    width_octaves = float(np.log2(one.high_hz / one.low_hz))
    # a pair of poles fitted to what is none may settle beside the dip
    fitted_hz = float(np.clip(poles.frequency_hz, one.low_hz, one.high_hz))
    centre_hz = fitted_hz if comb is None else comb.frequency_hz
    deviation_db = one.deviation_db if comb is None else comb.depth_db
    scatter_db = float(against.scatter_db[int(np.argmin(np.abs(against.frequency_hz - one.centre_hz)))])
    half_width_hz = max(0.5 * (one.high_hz - one.low_hz), 0.01 * centre_hz)
    # few rows near a resonance take part of the ripple with them: how large it is shows round about; with the root of
    # the ratio 92 to 98 of 100 intervals hold (tests/STUDIES.md)
    widened = float(np.sqrt(max(1.0, scatter_db / max(poles.residual_db, 1e-6))))
    frequency_off_hz = widened * poles.frequency_uncertainty_hz if comb is None else comb.frequency_uncertainty_hz
    phase = judge.judged(centre_hz, half_width_hz=half_width_hz)
    left_db = _elsewhere_db(one, elsewhere)
    kept = _kept(left_db, one.deviation_db)
    kind: Kind = "dip" if one.dip else "peak"
    shape: Shape = "interference" if comb is not None else ("resonance" if _resonates(one, poles) else "unknown")
    return Anomaly(
        number=number,
        kind=kind,
        frequency_hz=centre_hz,
        frequency_uncertainty_hz=max(frequency_off_hz, FREQUENCY_FLOOR * centre_hz),
        deviation_db=deviation_db,
        deviation_uncertainty_db=1.96 * scatter_db if comb is None else max(comb.depth_uncertainty_db, DEPTH_FLOOR_DB),
        low_hz=one.low_hz,
        high_hz=one.high_hz,
        width_octaves=width_octaves,
        q=poles.q,
        q_uncertainty=max(widened * poles.q_uncertainty, Q_FLOOR * poles.q),
        phase=phase.verdict,
        excess_turn=phase.ratio,
        excess_turn_uncertainty=phase.uncertainty,
        shape=shape,
        path_difference_m=None if comb is None else c_m_s * comb.delay_s,
        reflection=_reflection(comb, phase.verdict),
        half_wave_m=c_m_s / (2.0 * centre_hz),
        quarter_wave_m=c_m_s / (4.0 * centre_hz),
        elsewhere=kept,
        elsewhere_db=left_db,
        equaliser=_equaliser(kept, phase.verdict, shape),
    )


def _shapes(one: Found, fine: FineResponse) -> tuple[SecondOrderFit, CombFit | None]:
    """Poles or zeros over the rows near the centre; and the comb, if over its own rows it fits clearly better."""
    f, level_db = fine.frequency_hz, fine.level_db
    q_guess = float(np.clip(one.centre_hz / max(one.high_hz - one.low_hz, 1e-3), 0.5, 50.0))

    def zeros(rows: BoolArray) -> SecondOrderFit:
        return second_order_fit(f[rows], level_db[rows], centre_hz=one.centre_hz, q_guess=q_guess, dip=one.dip)

    reach = 2.0 ** np.clip(1.5 * np.log2(one.high_hz / one.low_hz), 0.2, 1.0)
    poles = zeros((f >= one.centre_hz / reach) & (f <= one.centre_hz * reach))
    if not one.dip:
        return poles, None
    comb = comb_fit(
        f,
        level_db,
        centre_hz=one.centre_hz,
        depth_db=one.deviation_db,
        smoothing_octaves=fine.smoothing_octaves,
    )
    if comb is None or comb[0].residual_db > COMB_BETTER * zeros(comb[1]).residual_db:
        return poles, None
    return poles, comb[0]


def _resonates(one: Found, poles: SecondOrderFit) -> bool:
    """Whether second-order poles or zeros explain most of it."""
    return poles.residual_db < 0.35 * abs(one.deviation_db)


def _elsewhere_db(one: Found, elsewhere: Sequence[CurveElsewhere]) -> float | None:
    """What the mean power of the curves elsewhere keeps of it: the extreme near by, against its own trend."""
    if not elsewhere:
        return None
    rows_hz = grid_hz()
    powers = [10.0 ** (curve.at(rows_hz) / 10.0) for curve in elsewhere]
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_db = 10.0 * np.log10(np.mean(powers, axis=0))
    near = (rows_hz >= one.centre_hz * 2.0 ** (-1.0 / 12.0)) & (rows_hz <= one.centre_hz * 2.0 ** (1.0 / 12.0))
    deviation_db = detrended(rows_hz, mean_db).deviation_db[near]
    deviation_db = deviation_db[np.isfinite(deviation_db)]
    if deviation_db.size == 0:
        return None
    return float(np.min(deviation_db) if one.dip else np.max(deviation_db))


def _kept(left_db: float | None, deviation_db: float) -> Elsewhere:
    if left_db is None:
        return "unknown"
    share = left_db / deviation_db
    return "filled-in" if share < FILLED else ("kept" if share > KEPT else "unknown")


def _reflection(comb: CombFit | None, phase: PhaseVerdict) -> float | None:
    """Of the later arrival re the earlier: the stronger came second where that is not minimum-phase."""
    if comb is None:
        return None
    return 1.0 / comb.reflection if phase == "not-minimum-phase" else comb.reflection


def _equaliser(kept: Elsewhere, phase: PhaseVerdict, shape: Shape) -> Equaliser:
    """An equaliser undoes what is minimum-phase, and only what is the same everywhere (common practice)."""
    if phase == "not-minimum-phase":
        return "cannot-mend"
    if kept == "filled-in" or (kept == "unknown" and shape == "interference"):
        return "at-this-point-only"
    if phase == "minimum-phase" and (kept == "kept" or shape == "resonance"):
        return "can-mend"
    return "unknown"
