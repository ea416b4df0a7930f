"""Families whose cause lies in the path, or in how two sounds add: the response has it, at every level alike."""

from dataclasses import replace

import numpy as np

from tests.families.devices import Device, Slow, Way
from tests.families.drawing import LOWEST_HZ, Case, Drawn, drawn, place_hz
from tests.families.filters import (
    SPEED_OF_SOUND_M_S,
    Delayed,
    Filter,
    Reflection,
    Resonance,
    SecondOrder,
    chain,
)
from tests.families.truth import Cause, measured


def reflection(seed: int) -> Case:
    """A delayed copy: dips at odd multiples of 1/(2 tau), peaks at even ones, whatever the level and the order.

    In a quarter the condition "stand" is without it.
    """
    at_hz = place_hz("reflection", seed, 60.0, 4000.0)
    made = drawn("reflection", seed, highest_hz=at_hz)
    copy, cause = reflected(made, at_hz, depth_db=float(made.random.uniform(3.0, 20.0)))
    device = replace(made.device, heard=copy)
    truth = made.truth(measured(cause, device, made.device))
    devices = {"stand": made.device, "desk": device} if made.random.random() < 0.25 else {"default": device}
    return made.case(devices, truth, radiation="room")


def reflected(made: Drawn, at_hz: float, *, depth_db: float) -> tuple[Filter, Cause]:
    """A copy whose first dip lies at `at_hz`, so deep re the direct sound; and what is true of it."""
    amplitude, delay_s = 1.0 - 10.0 ** (-depth_db / 20.0), 0.5 / at_hz
    dull_hz = None if made.random.random() < 0.5 else float(made.random.uniform(15.0, 40.0)) * at_hz
    cause = Cause(
        explanation="delayed-copy",
        accepted=("room",),
        frequency_hz=at_hz,
        places_hz=tuple(at_hz * k for k in range(1, 100) if at_hz * k < made.stop_hz),
        numbers={"path_m": delay_s * SPEED_OF_SOUND_M_S, "amplitude": amplitude, "delay_s": delay_s},
    )
    return Reflection(amplitude=amplitude, delay_s=delay_s, dull_hz=dull_hz), cause


def resonant(at_hz: float, q: float, gain_db: float) -> tuple[Resonance, Cause]:
    """A resonance after the source, and what is true of it."""
    cause = Cause(
        explanation="resonance",
        frequency_hz=at_hz,
        places_hz=(at_hz,),
        of_loudspeaker=True,
        numbers={"q": q, "gain_db": gain_db},
    )
    return Resonance(at_hz=at_hz, q=q, gain_db=gain_db), cause


def response_peak(seed: int) -> Case:
    """A peak of the response that products of lower tones meet: f differs by order, n f is common."""
    at_hz = place_hz("response-peak", seed, 200.0, 8000.0)
    made = drawn("response-peak", seed, highest_hz=at_hz / 2.0, curvature_db=4.0)
    q, gain_db = float(made.random.uniform(3.0, 15.0)), float(made.random.uniform(3.0, 15.0))
    peak, cause = resonant(at_hz, q, gain_db)
    products = tuple(at_hz / order for order in made.body.powers if order > 1 and at_hz / order > 2.0 * LOWEST_HZ)
    cause = replace(cause, accepted=("product-on-peak",), places_hz=(at_hz, *products), product_hz=at_hz)
    device = Device(ways=(made.body_with(after=peak),))
    return made.case(device, made.truth(measured(cause, device, made.device)))


def dips_at_f_and_2f(seed: int) -> Case:
    """Two resonances after the source, one an octave above the other: products of the lower fall into the upper."""
    at_hz = place_hz("dips-at-f-and-2f", seed, 60.0, 4000.0)
    made = drawn("dips-at-f-and-2f", seed, highest_hz=at_hz)
    dips = [
        resonant(at_hz * ratio, float(made.random.uniform(2.0, 10.0)), -float(made.random.uniform(3.0, 20.0)))
        for ratio in (1.0, 2.0)
    ]
    device = Device(ways=(made.body_with(after=chain(*(dip for dip, _ in dips))),))
    return made.case(device, made.truth(*(measured(cause, device, made.device) for _, cause in dips)))


def narrow(seed: int) -> Case:
    """A resonance of Q 20 to 40, dip or peak: the smoothing of the curves rounds it."""
    at_hz = place_hz("narrow", seed, 100.0, 8000.0)
    made = drawn("narrow", seed, highest_hz=at_hz)
    gain_db = float(made.random.uniform(3.0, 20.0) * made.random.choice([-1.0, 1.0]))
    q = float(made.random.uniform(20.0, 40.0))
    if gain_db < 0.0 and made.random.random() < 0.5:
        q *= 10.0 ** (-gain_db / 20.0)  # of the whole dip, not of its bottom: the smoothing all but closes it
    place, cause = resonant(at_hz, q, gain_db)
    if gain_db > 0.0:
        products = tuple(at_hz / order for order in made.body.powers if order > 1)
        cause = replace(cause, accepted=("product-on-peak",), places_hz=(at_hz, *products), product_hz=at_hz)
    device = Device(ways=(made.body_with(after=place),))
    return made.case(device, made.truth(measured(cause, device, made.device)))


def dip_before_the_curve(seed: int) -> Case:
    """A dip of d dB that the source is already fed with: order n falls by n d dB."""
    at_hz = place_hz("dip-before-the-curve", seed)
    made = drawn("dip-before-the-curve", seed, highest_hz=at_hz, curvature_db=8.0)
    depth_db, q = float(made.random.uniform(3.0, 20.0)), float(made.random.uniform(1.0, 10.0))
    dip = Resonance(at_hz=at_hz, q=q, gain_db=-depth_db)
    cause = Cause(
        explanation="filter-before-source",
        frequency_hz=at_hz,
        places_hz=(at_hz,),
        orders=tuple(order for order in made.body.powers if order > 1),
        of_loudspeaker=True,
        numbers={"q": q, "gain_db": -depth_db},
    )
    device = Device(ways=(made.body_with(before=dip),))
    return made.case(device, made.truth(measured(cause, device, made.device)))


def bands_edge(seed: int) -> Case:
    """Where an order leaves the band: nothing is there, or, in half, a dip or peak of the response near by."""
    made = drawn("bands-edge", seed, highest_hz=2000.0, curvature_db=6.0)
    edge_hz = made.stop_hz / float(made.random.choice([1.0, 2.0, 2.0, 3.0, 4.0]))
    if made.random.random() < 0.5:
        return made.case(made.device, made.truth(note=f"an order ends at {edge_hz:.0f} Hz"))
    at_hz = edge_hz * float(made.random.uniform(0.7, 0.97 if edge_hz == made.stop_hz else 1.15))
    gain_db = float(made.random.uniform(4.0, 15.0) * made.random.choice([-1.0, 1.0]))
    place, cause = resonant(at_hz, float(made.random.uniform(2.0, 10.0)), gain_db)
    if gain_db > 0.0:
        products = tuple(at_hz / order for order in made.body.powers if order > 1)
        cause = replace(cause, accepted=("product-on-peak",), places_hz=(at_hz, *products), product_hz=at_hz)
    device = Device(ways=(made.body_with(after=place),))
    return made.case(
        device, made.truth(measured(cause, device, made.device), note=f"an order ends at {edge_hz:.0f} Hz")
    )


def lobing(seed: int) -> Case:
    """Two drivers, one lower, one higher, nearly cancel about their crossover; the lower one distorts.

    Products come from one driver alone, so they have no dip where the tone has one.
    """
    at_hz = place_hz("lobing", seed, 300.0, 4000.0)
    made = drawn("lobing", seed, highest_hz=at_hz, curvature_db=8.0)
    depth_db = float(made.random.uniform(3.0, 20.0))
    low = SecondOrder(at_hz=at_hz, q=0.5, high=False)
    # Turned round, the high way is in phase at the crossover; half a period later it is not.
    late = Delayed(delay_s=0.5 / at_hz, gain=-(1.0 - 10.0 ** (-depth_db / 20.0)))
    high = Way(before=SecondOrder(at_hz=at_hz, q=0.5, high=True), after=chain(made.body.after, late))
    device = Device(ways=(made.body_with(before=low), high))
    cause = Cause(
        explanation="cancellation",
        frequency_hz=at_hz,
        places_hz=(at_hz,),
        orders=tuple(order for order in made.body.powers if order > 1),
        of_loudspeaker=True,
        numbers={"depth_db": depth_db, "delay_s": 0.5 / at_hz},
    )
    # Without it: the high way comes in time, and both add up.
    timely = Way(before=high.before, after=chain(made.body.after, Delayed(delay_s=0.0, gain=-1.0)))
    sized = measured(cause, device, Device(ways=(device.ways[0], timely)))
    return made.case(device, made.truth(replace(sized, source_db={})))  # the source is the same: its path alone differs


def two_paths(seed: int) -> Case:
    """Two sources that nearly cancel; the weaker one loses level when it is loud, and distorts.

    The sum changes with level where they cancel, and the other way, far less, where they add.
    """
    at_hz = place_hz("two-paths", seed, 60.0, 4000.0)
    made = drawn("two-paths", seed, highest_hz=at_hz)
    depth_db = float(made.random.uniform(6.0, 20.0))
    weaker = 1.0 - 10.0 ** (-depth_db / 20.0)
    lost_db = float(np.exp(made.random.uniform(np.log(0.02), np.log(3.0))))
    late = chain(made.body.before, made.body.after, Delayed(delay_s=0.5 / at_hz, gain=weaker))
    loss = 10.0 ** (lost_db / 10.0) - 1.0
    other = Slow(
        gain=lambda power: 1.0 / np.sqrt(1.0 + 2.0 * loss * power),
        heard=made.body.before,
        settling_s=max(0.01, 4.0 / at_hz),
        after=late,
    )
    products = {order: 3.0 * size for order, size in made.body.powers.items() if order > 1}
    distorting = Way(
        before=made.body.before,
        powers=products,
        shapes=made.body.shapes,
        after=chain(made.body.after, Delayed(delay_s=0.5 / at_hz, gain=weaker)),
    )
    clean = replace(made.body, powers={1: 1.0})
    device = Device(ways=(clean, other, distorting))
    cause = Cause(
        explanation="cancellation",
        frequency_hz=at_hz,
        places_hz=tuple(at_hz * k for k in range(1, 100) if at_hz * k < made.stop_hz),
        orders=tuple(products),
        of_loudspeaker=True,
        numbers={"depth_db": depth_db, "delay_s": 0.5 / at_hz, "lost_db": lost_db},
    )
    without = Device(ways=(clean, distorting))
    sized = measured(cause, device, without)
    return made.case(device, made.truth(replace(sized, source_db={})))
