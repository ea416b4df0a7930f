"""Families of what is not the loudspeaker: rooms, poor conversions, sounds of something else; and of nothing at all."""

from dataclasses import replace

import numpy as np

from tests.families.conversion import RATES_DIFFER_HZ, image_db, read_as_order_db
from tests.families.drawing import HIGH_RATE_HZ, Case, Drawn, Event, drawn, place_hz
from tests.families.filters import Filter, Room, chain
from tests.families.sources import local, with_change
from tests.families.truth import LEVELS, Cause, measured

ROOM_WORDS = ("room", "delayed-copy", "resonance", "product-on-peak")
"""True of any dip of a room: it is made of copies and of modes, and products meet its peaks."""


def _room(made: Drawn) -> Room:
    return Room(
        seed=int(made.random.integers(0, 2**31)),
        rt60_s=float(made.random.uniform(0.3, 0.5)),
        drr_db=float(made.random.uniform(0.0, 12.0)),
        sample_rate=made.sample_rate,
    )


def room(seed: int) -> Case:
    """A room. In half of them a source at one place as well; in half the curve without the room is in the session."""
    at_hz = place_hz("room", seed, 60.0, 4000.0)
    made = drawn("room", seed, highest_hz=at_hz)
    around = _room(made)
    free = made.body.before, made.body.after
    free_field: Filter | None = chain(*free) if made.random.random() < 0.5 else None
    numbers = {"rt60_s": around.rt60_s, "drr_db": around.drr_db}
    decay_s = around.rt60_s + 0.2
    without = replace(made.device, heard=around, decay_s=decay_s)
    if made.random.random() < 0.5:
        one = local(made, at_hz, above_db=float(made.random.uniform(3.0, 26.0)))
        device = without.with_ways(one.way)
        free_device = made.device.with_ways(one.way)  # what is made is the same in any room
        sized = measured(one.cause, free_device, made.device)
        cause = with_change(replace(sized, numbers={**sized.numbers, **numbers}))
        truth = made.truth(cause, harmless=ROOM_WORDS)
    else:
        device = without
        truth = made.truth(harmless=ROOM_WORDS, note=f"a room of {around.rt60_s:.2f} s alone")
    return made.case(device, truth, radiation="room", free_field=free_field)


def nothing(seed: int) -> Case:
    """Ripple alone; in a third, a room alone."""
    made = drawn("nothing", seed, highest_hz=1000.0, curvature_db=-4.0)
    if made.random.random() < 2.0 / 3.0:
        return made.case(made.device, made.truth(note="ripple"))
    around = _room(made)
    device = replace(made.device, heard=around, decay_s=around.rt60_s + 0.2)
    return made.case(device, made.truth(harmless=ROOM_WORDS, note="room"), radiation="room")


def conversion_images(seed: int) -> Case:
    """The recording went from 48 to 44.1 kHz and back through a filter that lets images through at |3900 k ± f|.

    They lie as far below the tone at every level, which no product of the loudspeaker does.
    """
    made = replace(drawn("conversion-images", seed, highest_hz=8000.0), sample_rate=HIGH_RATE_HZ)
    attenuation_db = float(made.random.uniform(25.0, 105.0))
    crossings = [(order, k, sign) for k in (1, 2) for order in range(2, 11) for sign in (1, -1)]
    sizes = {place: _image_rise_db(made, *place, attenuation_db=attenuation_db) for place in crossings}
    order, k, sign = max(sizes, key=lambda place: sizes[place])
    at_hz = _crossing_hz(order, k, sign)
    cause = Cause(
        explanation="conversion-image",
        frequency_hz=at_hz,
        places_hz=tuple(sorted({_crossing_hz(*place) for place in crossings})),
        orders=tuple(range(2, 11)),
        of_loudspeaker=False,
        levels=LEVELS,
        source_db={f"h{order}": {LEVELS[-1]: round(sizes[order, k, sign], 2)}},
        numbers={"difference_hz": RATES_DIFFER_HZ, "below_db": -image_db(at_hz, k, sign, attenuation_db)},
    )
    return made.case(made.device, made.truth(cause), conversion_db=attenuation_db)


def _crossing_hz(order: int, k: int, sign: int) -> float:
    """Where n f = 3900 k + sign f."""
    return RATES_DIFFER_HZ * k / (order - sign)


def _image_rise_db(made: Drawn, order: int, k: int, sign: int, *, attenuation_db: float) -> float:
    """By how much an order rises at the highest level where an image crosses it; noise counts as 0 dB SPL."""
    at_hz = _crossing_hz(order, k, sign)
    if order * at_hz > made.stop_hz:
        return 0.0
    levels = made.device.steady_db(np.array([at_hz]), LEVELS[-1])[:, 0]
    own = 10.0 ** (levels[order - 1] / 10.0) + 1.0
    image = levels[0] + image_db(at_hz, k, sign, attenuation_db) + read_as_order_db(order)
    return float(10.0 * np.log10(1.0 + 10.0 ** (image / 10.0) / own))


def events(seed: int) -> Case:
    """A click, speech or a door during one recording of a high level; in half there is another take without it."""
    made = drawn("events", seed, highest_hz=float(np.random.default_rng([seed, 3]).choice([800.0, 3000.0])))
    kind = ("click", "speech", "door")[int(made.random.integers(0, 3))]
    in_sweep = made.random.random() < 0.8
    length_s = made.sweep_s * (1.0 if in_sweep else 0.5)
    at_s = float(made.random.uniform(0.15, 0.85) * length_s)
    event = Event(
        stimulus_name="sweep" if in_sweep else "sweep-short",
        level_db_spl=float(made.random.choice([91.0, 96.0])),
        take=1,
        at_s=at_s,
        kind=kind,
        peak_db_spl=float(made.random.uniform(45.0, 90.0)),
    )
    # The sweep passes f at L ln(f / 20 Hz); what sounds for a second crosses a band.
    rate_s = length_s / np.log(min(made.stop_hz, 21000.0) / 20.0)
    lasting_s = {"click": 0.5, "speech": 1.0, "door": 0.8}[kind]
    reached = 20.0 * np.exp((at_s + np.linspace(0.0, lasting_s, 20)) / rate_s)
    cause = Cause(
        explanation="event-in-time",
        accepted=("noise",),
        frequency_hz=float(reached[0]),
        places_hz=tuple(float(one) for one in reached),
        orders=tuple(range(2, 11)),
        levels=(event.level_db_spl,),
        of_loudspeaker=False,
        numbers={"at_s": at_s, "peak_db_spl": event.peak_db_spl},
    )
    takes = 2 if made.random.random() < 0.5 else 1
    return made.case(
        made.device, made.truth(cause, note=f"{kind} in {event.stimulus_name}"), events=(event,), takes=takes
    )
