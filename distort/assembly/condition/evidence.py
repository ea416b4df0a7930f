"""The evidence table of a condition: everything that was measured, as the findings look at it."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.analysis.anomalies.anomalies import find_anomalies
from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.anomalies.fine_response import fine_response
from distort.analysis.common.caution import CLEAR_OF_CHAIN_DB, CLEAR_OF_LEAK_DB, CLEAR_OF_NOISE_DB
from distort.analysis.common.curves import Harmonics, Order, Response
from distort.analysis.common.quantities import EVEN, ODD, Quantity
from distort.analysis.findings.evidence import (
    BandCurve,
    ChangeCurve,
    Event,
    Evidence,
    FrameAt,
    Image,
    OctaveHeat,
    OrderCurve,
    SetUps,
    TimeBehaviour,
)
from distort.analysis.frames.reading import FramesResult
from distort.analysis.impulsive.impulsive import ImpulsiveResult
from distort.analysis.level_noise import NoiseResult
from distort.analysis.multitone.settling import Settling
from distort.analysis.sweep.orders import SeparatedOrders
from distort.analysis.sweep.touched import ROUNDED, Touched
from distort.assembly.condition.curves import Curves
from distort.assembly.condition.frames import FRAMES
from distort.assembly.condition.impulsive import IMPULSIVE
from distort.assembly.condition.level_noise import NOISE
from distort.assembly.condition.level_series import Ladder, LevelSeries
from distort.assembly.condition.levels import LevelsRead
from distort.recording.reading import MultitoneLevel
from distort.session.calibration.reference_responses import CurvesElsewhere
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Setup
from distort.session.plan.kinds import frames_levels
from distort.session.recordings.condition import Recorded
from distort.session.results.foreign_found import EventFound, Foreign, ImageFound
from distort.session.results.ladder_results import ChangeCurves

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


def evidence_of(
    recorded: Recorded,
    read: LevelsRead,
    *,
    curves: Curves,
    series: LevelSeries,
    foreign: Foreign,
    further: Mapping[str, Any],
) -> Evidence:
    """Made once, before anything is explained.

    foreign     what the recordings hold that the loudspeaker did not make: what it touches is not readable
    further     what is known besides, by name: of it what strikes, rubs or blows, noise that comes with
                level, and what frames tell
    """
    impulsive: ImpulsiveResult | None = further.get(IMPULSIVE)
    noise: NoiseResult | None = further.get(NOISE)
    frames: FramesResult | None = further.get(FRAMES)
    first = curves.responses[0]
    setup = recorded.recordings[0].sidecar.setup
    ladders = [ladder.curves for ladder in series.ladders]
    return Evidence(
        condition=recorded.condition,
        set_ups=_set_ups(recorded),
        frequency_hz=first.frequency_hz,
        response_db=first.level_db,
        lowest_valid_hz=first.lowest_valid_hz,
        anomalies=anomalies_of(read.lowest.read.separated, first, setup=setup, elsewhere=recorded.elsewhere),
        orders=tuple(
            one
            for level, harmonics in zip(read.sweeps, curves.harmonics, strict=True)
            for one in order_curves(harmonics, level, touched=foreign.touched_at(level))
        ),
        bands=tuple(one for level, tone in read.multitones.items() for one in _bands(tone, level)),
        changes=tuple(one for each in ladders for one in _changes(each, foreign)),
        events=tuple(_event(one) for one in foreign.events if one.event.touched),
        images=_images(foreign.images, max(read.sweeps)),
        attacks=tuple(_settled(level, one) for level, tone in read.multitones.items() for one in tone.attack),
        warm_ups=tuple(_settled(level, one) for level, tone in read.multitones.items() for one in tone.warm_up),
        impulses=() if impulsive is None else impulsive.places,
        noise=() if noise is None else noise.growing,
        frames=() if frames is None else tuple(_frames(frames)),
        heating=tuple(one for ladder in series.ladders for one in _heating(ladder)),
        in_room=setup.radiation == "room"
        and read.lowest.read.separated.gate_s is None
        and not recorded.elsewhere.curves,
    )


def _set_ups(recorded: Recorded) -> SetUps:
    """What else there is: the plan's conditions, and those that are recorded, in the plan's order."""
    chain = recorded.plan.analysis.chain_condition  # holds no loudspeaker to compare with
    heard = tuple(one for one in recorded.plan.setup.conditions if one != chain)
    names = SessionFolder(recorded.root).conditions_recorded()
    near = recorded.plan.near_fields  # hear another part of the loudspeaker, and so tell nothing of the set-up
    planned = tuple(one for one in heard if one not in near)
    return SetUps(
        planned=planned,
        recorded=tuple(one for one in planned if one in names),
        bursts=recorded.plan.burst is not None,
        frames_hz=() if recorded.plan.frames is None else recorded.plan.frames.frequencies_hz,
        frames_levels=frames_levels(recorded.plan),
        simulated=any(one.sidecar.simulated for one in recorded.recordings),
    )


def anomalies_of(
    separated: SeparatedOrders, first: Response, *, setup: Setup, elsewhere: CurvesElsewhere
) -> tuple[Anomaly, ...]:
    """Dips and peaks of the lowest level's response.

    separated   its orders, for the response unsmoothed
    """
    known = np.isfinite(first.level_db)
    fine = fine_response(
        separated,
        lowest_hz=max(first.lowest_valid_hz, float(first.frequency_hz[known][0])),
        highest_hz=float(first.frequency_hz[known][-1]),
    )
    return find_anomalies(
        first.frequency_hz,
        first.level_db,
        elsewhere=elsewhere.curves,
        temperature_c=setup.temperature_c,
        fine=fine,
        lowest_valid_hz=first.lowest_valid_hz,
    )


def order_curves(harmonics: Harmonics, level_db_spl: float, *, touched: Sequence[Touched] = ()) -> Iterator[OrderCurve]:
    """Every order of one level; what an event touches lies under a floor without end."""
    for order in harmonics.orders:
        spoilt = _touched_rows(harmonics.frequency_hz, touched, order.order)
        yield OrderCurve(
            order=order.order,
            level_db_spl=level_db_spl,
            relative_db=order.relative_db,
            fundamental_db=harmonics.fundamental_db,
            floor_db=np.where(spoilt, np.inf, _floor_db(order)),
            uncertainty_db=order.noise_uncertainty_db,
            bias_db=order.bias_db,
        )


def _touched_rows(frequency_hz: FloatArray, touched: Sequence[Touched], order: int) -> BoolArray:
    rows = np.zeros(frequency_hz.size, dtype=np.bool_)
    for one in touched:
        if one.order == order:
            rows |= (frequency_hz >= one.low_hz * (1.0 - ROUNDED)) & (frequency_hz <= one.high_hz * (1.0 + ROUNDED))
    return rows


def _event(one: EventFound) -> Event:
    return Event(
        level_db_spl=one.level_db_spl,
        low_hz=one.event.low_hz,
        high_hz=one.event.high_hz,
        orders=tuple(sorted({each.order for each in one.event.touched})),
    )


def _images(found: Sequence[ImageFound], highest_db_spl: float) -> tuple[Image, ...]:
    images = []
    for one in found:
        at_highest = [level for level in one.levels if level.level_db_spl == highest_db_spl]
        touched = tuple((each.low_hz, each.high_hz) for level in at_highest for each in level.touched)
        image = one.image
        images.append(Image(difference_hz=image.offset_hz, highest_db=image.highest_db, touched_hz=touched))
    return tuple(images)


def _floor_db(order: Order) -> FloatArray:
    """What noise, decay and chain may have made, each as far above itself as noise need not be; NaN: no noise floor."""
    known = np.isfinite(order.noise_db)
    floor_db = np.fmax(order.noise_db, order.leak_db + CLEAR_OF_LEAK_DB - CLEAR_OF_NOISE_DB)
    floor_db = np.fmax(floor_db, order.chain_db + CLEAR_OF_CHAIN_DB - CLEAR_OF_NOISE_DB)
    return np.where(known, floor_db, np.nan)


def _bands(tone: MultitoneLevel, level_db_spl: float) -> Iterator[BandCurve]:
    bands = tone.result.bands
    for quantity in (EVEN, ODD):
        yield BandCurve(
            quantity=quantity,
            level_db_spl=level_db_spl,
            frequency_hz=bands.frequency_hz,
            relative_db=getattr(bands, quantity.column),
            floor_db=getattr(bands, f"{quantity.name}_floor_db"),
            uncertainty_db=getattr(bands, f"{quantity.name}_noise_uncertainty_db"),
            lines_db=bands.level_db,
        )


def _changes(curves: ChangeCurves, foreign: Foreign) -> Iterator[ChangeCurve]:
    """Every level but the reference, whose change is 0; without rows whose fundamental an event touches."""
    reference = curves.levels[0].level_db_spl
    for one in curves.levels[1:]:
        touched = (*foreign.touched_at(reference), *foreign.touched_at(one.level_db_spl))
        spoilt = _touched_rows(curves.frequency_hz, touched if curves.source == "sweep" else (), 1)
        yield ChangeCurve(
            quantity=Quantity("change", curves.source),
            level_db_spl=one.level_db_spl,
            frequency_hz=curves.frequency_hz,
            change_db=np.where(spoilt, np.nan, one.change_db),
            uncertainty_db=one.uncertainty_db,
            bias_db=one.bias_db,
        )


def _settled(level_db_spl: float, one: Settling) -> TimeBehaviour:
    return TimeBehaviour(
        level_db_spl=level_db_spl,
        low_hz=one.low_hz,
        high_hz=one.high_hz,
        depth_db=one.depth_db,
        uncertainty_db=one.uncertainty_db,
        time_constant_s=one.time_constant_s,
    )


def _frames(result: FramesResult) -> Iterator[FrameAt]:
    for level in result.levels:
        for at_hz, reading in zip(result.frequency_hz, level.readings, strict=True):
            yield FrameAt(level_db_spl=level.level_db_spl, frequency_hz=float(at_hz), reading=reading)


def _heating(ladder: Ladder) -> Iterator[OctaveHeat]:
    for one in ladder.found.octaves:
        if one.heating_db is not None and one.heating_uncertainty_db is not None:
            yield OctaveHeat(
                midband_hz=one.midband_hz, change_db=one.heating_db, uncertainty_db=one.heating_uncertainty_db
            )
