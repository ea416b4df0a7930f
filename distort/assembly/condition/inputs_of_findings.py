"""The curves of a condition as the search for coincidences takes them."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from distort.analysis.coincidences.anomalies import find_anomalies
from distort.analysis.coincidences.compression_excess import ChangeCurve
from distort.analysis.coincidences.fine_response import fine_response
from distort.analysis.coincidences.looked_at import Looked
from distort.analysis.coincidences.split import DistortionCurve
from distort.analysis.common.caution import CLEAR_OF_LEAK_DB, CLEAR_OF_NOISE_DB
from distort.analysis.common.curves import Harmonics, Order, Response
from distort.analysis.common.quantities import EVEN, ODD, THD, Quantity, harmonic
from distort.analysis.multitone.curves import MultitoneBands
from distort.analysis.sweep.orders import SeparatedOrders
from distort.session.calibration.reference_responses import CurvesElsewhere
from distort.session.plan.keys import Setup
from distort.session.results.ladder_results import ChangeCurves

FloatArray = npt.NDArray[np.float64]


def look_at(
    separated: SeparatedOrders,
    *,
    setup: Setup,
    elsewhere: CurvesElsewhere,
    levels: Sequence[float],
    responses: Sequence[Response],
    harmonics: Sequence[Harmonics],
    multitones: Mapping[float, MultitoneBands],
    changes: Sequence[ChangeCurves],
) -> Looked:
    """Anomalies of the lowest level's response, and every curve that may line up with them.

    separated   orders of the lowest level, for the response unsmoothed
    levels      nominal, from the lowest up, as `responses` and `harmonics` are
    """
    first = responses[0]
    known = np.isfinite(first.level_db)
    fine = fine_response(
        separated,
        lowest_hz=max(first.lowest_valid_hz, float(first.frequency_hz[known][0])),
        highest_hz=float(first.frequency_hz[known][-1]),
    )
    anomalies = find_anomalies(
        first.frequency_hz,
        first.level_db,
        elsewhere=elsewhere.curves,
        temperature_c=setup.temperature_c,
        fine=fine,
        lowest_valid_hz=first.lowest_valid_hz,
    )
    distortion: list[DistortionCurve] = []
    for level, one in zip(levels, harmonics, strict=True):
        distortion += _of_sweep(one, level, lowest_valid_hz=first.lowest_valid_hz)
    for level, bands in multitones.items():
        distortion += _of_multitone(bands, level)
    return Looked(
        response_hz=first.frequency_hz,
        response_db=first.level_db,
        anomalies=anomalies,
        distortion=tuple(distortion),
        changes=tuple(one for curves in changes for one in _of_ladder(curves)),
        in_room=setup.radiation == "room" and separated.gate_s is None and not elsewhere.curves,
        lowest_valid_hz=first.lowest_valid_hz,
    )


def _of_sweep(one: Harmonics, level: float, *, lowest_valid_hz: float) -> Iterator[DistortionCurve]:
    invalid = one.frequency_hz < lowest_valid_hz
    for order in one.orders:
        leak_db = order.leak_db + CLEAR_OF_LEAK_DB - CLEAR_OF_NOISE_DB
        floor_db = np.where(np.isnan(order.noise_db), np.nan, np.fmax(order.noise_db, leak_db))
        yield DistortionCurve(
            quantity=harmonic(order.order).in_findings,
            level=level,
            order=order.order,
            frequency_hz=one.frequency_hz,
            relative_db=np.where(invalid | _rushed(order, floor_db), np.nan, order.relative_db),
            noise_db=order.noise_db,
            floor_db=floor_db,
            uncertainty_db=order.noise_uncertainty_db,
            fundamental_db=one.fundamental_db,
        )
    yield DistortionCurve(
        quantity=THD.in_findings,
        level=level,
        order=None,
        frequency_hz=one.frequency_hz,
        relative_db=np.where(invalid, np.nan, one.thd_db),
        noise_db=one.thd_noise_db,
        floor_db=one.thd_noise_db,
        uncertainty_db=np.zeros_like(one.frequency_hz),
        fundamental_db=one.fundamental_db,
    )


def _rushed(order: Order, floor_db: FloatArray) -> npt.NDArray[np.bool_]:
    """Rows that are doubtful although they stand clear of noise and leak: the sweep is too fast there."""
    with np.errstate(invalid="ignore"):
        return np.asarray(order.doubtful & (order.relative_db >= floor_db + CLEAR_OF_NOISE_DB))


def _of_multitone(bands: MultitoneBands, level: float) -> Iterator[DistortionCurve]:
    for quantity in (EVEN, ODD):
        floor_db = getattr(bands, f"{quantity.name}_floor_db")
        yield DistortionCurve(
            quantity=quantity.in_findings,
            level=level,
            order=None,
            frequency_hz=bands.frequency_hz,
            relative_db=getattr(bands, quantity.column),
            noise_db=floor_db,
            floor_db=floor_db,
            uncertainty_db=getattr(bands, f"{quantity.name}_uncertainty_db"),
            fundamental_db=bands.level_db,
        )


def _of_ladder(curves: ChangeCurves) -> Iterator[ChangeCurve]:
    """Every level but the reference, whose change is 0."""
    for one in curves.levels[1:]:
        yield ChangeCurve(
            quantity=Quantity("change", curves.source).in_findings,
            level=one.level_db_spl,
            frequency_hz=curves.frequency_hz,
            change_db=one.change_db,
            uncertainty_db=one.uncertainty_db,
        )
