"""Response and harmonics of every level of a condition, with what the chain itself may have put into them."""

from dataclasses import dataclass

from distort.analysis.common.curves import FloatArray, Harmonics, Response
from distort.analysis.sweep.chain import MicrophoneLimit, electronics_bound_db, microphone_bound_db, with_chain
from distort.analysis.sweep.sweeps import sweep_harmonics, sweep_response
from distort.analysis.sweep.touched import with_touched
from distort.assembly.condition.levels import LevelsRead
from distort.recording.reading import Electronics, SweepLevel
from distort.session.recordings.condition import Recorded
from distort.session.results.foreign_found import Foreign

NOTHING = Foreign()


@dataclass(frozen=True, kw_only=True)
class Curves:
    """One of each a level, from the lowest up."""

    responses: tuple[Response, ...]
    harmonics: tuple[Harmonics, ...]


def curves_of(read: LevelsRead, limit: MicrophoneLimit | None, foreign: Foreign = NOTHING) -> Curves:
    """The curves; the equivalent input is stated re that of the lowest level, so it is empty where nobody said how far
    the volume was turned between the two.

    limit     what is known of the microphone's own distortion; None: nothing
    foreign   what the recordings hold that the loudspeaker did not make: what it touches is marked
    """
    responses = {level: sweep_response(one.read, one.reference) for level, one in read.sweeps.items()}
    lowest = min(responses)
    harmonics = []
    for level, one in read.sweeps.items():
        short = read.short_sweeps.get(level)
        driven_db = _driven_db(one, read.sweeps[lowest])
        own = sweep_harmonics(
            one.read,
            one.reference,
            linear=None if driven_db is None else responses[lowest],
            driven_db=driven_db or 0.0,
            short=None if short is None else short.read,
        )
        bounds = {
            order.order: _bounds(order.order, own, responses[level], read.electronics.get(level), limit=limit)
            for order in own.orders
        }
        chained = with_chain(own, bounds, lowest_valid_hz=responses[level].lowest_valid_hz)
        harmonics.append(with_touched(chained, foreign.touched_at(level)))
    return Curves(responses=tuple(responses.values()), harmonics=tuple(harmonics))


def _driven_db(one: SweepLevel, lowest: SweepLevel) -> float | None:
    """By how much a level is driven above the lowest; None where that, or the unit that both have, is not known."""
    if one is lowest:
        return 0.0
    turned = [level.takes[0].sidecar.turned_db for level in (one, lowest)]
    if turned[0] is None or turned[1] is None or one.reference.unit != lowest.reference.unit:
        return None
    return one.read.sweep.drive_dbfs - lowest.read.sweep.drive_dbfs + turned[0] - turned[1]


def microphone_limit(recorded: Recorded) -> MicrophoneLimit | None:
    """What the microphone's data sheet says, at 1 m; None where it says nothing, and of a chain without microphone."""
    microphone = recorded.plan.microphone
    if microphone.max_db_spl is None or recorded.chain is None:
        return None
    return MicrophoneLimit(
        max_db_spl=microphone.max_db_spl,
        percent=microphone.max_percent,
        distance_m=recorded.plan.setup.distance_m,
    )


def _bounds(
    number: int,
    curves: Harmonics,
    response: Response,
    electronics: Electronics | None,
    *,
    limit: MicrophoneLimit | None,
) -> list[FloatArray]:
    """How much of the order `number` electronics and microphone may make, as far as that is known."""
    bounds = [] if electronics is None else [electronics_bound_db(electronics.readings, number, response)]
    if limit is not None and curves.unit == "db_spl":
        bounds.append(microphone_bound_db(number, curves.fundamental_db, limit))
    return bounds
