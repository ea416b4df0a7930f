"""The families: what is in which condition, drawn from a seed."""

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from distort.report.text.story import Owner
from tests.across.parts import Jet, Loose, Moving
from tests.across.truth import COPIES, LOSES, MAKES, STRIKES, Fault, Made
from tests.families.changes import Limit
from tests.families.devices import Device, Slow, Way
from tests.families.drawing import HIGH_RATE_HZ, Drawn, drawn
from tests.families.filters import Reflection, Ripple, SecondOrder, chain
from tests.families.sources import local

LEVELS = (84.0, 90.0, 96.0)
SWEEP_S = 4.0
EACH = 1.5
"""A finding within this factor of a fault's place is of that fault."""

OWN: frozenset[Owner] = frozenset({"loudspeaker", "open"})
OF_PLACE: frozenset[Owner] = frozenset({"set-up", "open"})


def _begun(family: str, seed: int, *, curvature_db: float = 0.0) -> Drawn:
    made = drawn(f"across-{family}", seed, highest_hz=1000.0, curvature_db=curvature_db)
    return replace(made, sample_rate=HIGH_RATE_HZ, sweep_s=SWEEP_S, takes=1, noise_db_spl=min(made.noise_db_spl, 32.0))


def _elsewhere(made: Drawn, device: Device, *, copy: Reflection | None = None) -> Device:
    """The same loudspeaker taken down and put up again: the response changes by some tenths of a decibel."""
    moved = Ripple(seed=int(made.random.integers(0, 2**31)), rms_db=0.2)
    return replace(device, heard=moved if copy is None else chain(moved, copy))


def _copy(made: Drawn) -> Reflection:
    return Reflection(
        amplitude=float(made.random.uniform(0.3, 0.7)),
        delay_s=float(made.random.uniform(0.3e-3, 1.5e-3)),
        dull_hz=float(made.random.uniform(3000.0, 12000.0)),
    )


def _of_copy(condition: str) -> Fault:
    """Whatever is called a dip or peak of the response at the desk."""
    return Fault(words=COPIES, low_hz=20.0, high_hz=20000.0, conditions=(condition,), owners=OF_PLACE)


def _maybe_copy(made: Drawn) -> Reflection | None:
    return _copy(made) if made.random.random() < 0.5 else None


def _made(
    family: str,
    made: Drawn,
    devices: Mapping[str, Device],
    faults: tuple[Fault, ...],
    *,
    note: str = "",
    changed: Mapping[str, str] | None = None,
    noise_over_db: Mapping[str, float] | None = None,
) -> Made:
    case = made.case(
        dict(devices), made.truth(), levels=LEVELS, changed=changed or {}, noise_over_db=noise_over_db or {}
    )
    return Made(family=family, seed=made.seed, case=case, faults=faults, note=note, changed=changed or {})


def _with(device: Device, way: object) -> Device:
    return device.with_ways(way)  # type: ignore[arg-type]


def wandering(seed: int) -> Made:
    """A loss, or a port's noise, whose place moves by 0.1 to 0.5 octaves with level, in both conditions."""
    made = _begun("wandering", seed)
    octaves = float(made.random.uniform(0.1, 0.5) * made.random.choice([-1.0, 1.0]))
    copy = _maybe_copy(made)
    if made.random.random() < 0.5:
        at_hz = float(np.exp(made.random.uniform(np.log(50.0), np.log(400.0))))
        q, loss_db = float(made.random.uniform(1.5, 4.0)), float(made.random.uniform(0.4, 2.0))
        part = Moving(
            at_hz=at_hz, q=q, wander_octaves=octaves, loss_db=loss_db, before=made.body.before, after=made.body.after
        )
        devices = {"stand": _with(made.device, part), "desk": _with(_elsewhere(made, made.device, copy=copy), part)}
        words, note = LOSES, f"a loss of {loss_db:.1f} dB at {at_hz:.0f} Hz that moves {octaves:+.2f} octaves"
    else:
        at_hz = float(made.random.uniform(45.0, 80.0))
        jet = Jet(
            seed=seed,
            at_hz=at_hz,
            q=float(made.random.uniform(1.5, 4.0)),
            wander_octaves=octaves,
            size=float(10.0 ** (made.random.uniform(-50.0, -36.0) / 20.0)),
            growth=float(made.random.uniform(2.0, 3.0)),
            after=made.body.after,
        )
        second = replace(jet, seed=seed + 1_000_000)
        devices = {"stand": _with(made.device, jet), "desk": _with(_elsewhere(made, made.device, copy=copy), second)}
        words, note = STRIKES, f"a port at {at_hz:.0f} Hz that moves {octaves:+.2f} octaves"
    reach = EACH * 2.0 ** abs(octaves)
    fault = Fault(words=words, low_hz=at_hz / reach, high_hz=at_hz * reach, conditions=("stand", "desk"), owners=OWN)
    faults = (fault,) if copy is None else (fault, _of_copy("desk"))
    return _made("wandering", made, devices, faults, note=note)


def suspension(seed: int) -> Made:
    """A spring that is not straight: second or third order about the resonance, the same on stand and desk."""
    made = _begun("suspension", seed)
    at_hz, power = float(made.random.uniform(50.0, 90.0)), int(made.random.choice([2, 3]))
    level_db = float(made.random.uniform(-45.0, -28.0))
    spring = _spring(made, at_hz, power, level_db)
    copy = _maybe_copy(made)
    device = made.device.with_ways(spring)
    devices = {"stand": device, "desk": _elsewhere(made, device, copy=copy)}
    fault = Fault(
        words=MAKES | LOSES | {"expansion"},
        low_hz=20.0,
        high_hz=at_hz * 2.5,
        conditions=("stand", "desk"),
        owners=OWN,
    )
    faults = (fault,) if copy is None else (fault, _of_copy("desk"))
    return _made("suspension", made, devices, faults, note=f"order {power}, {level_db:.0f} dB at {at_hz:.0f} Hz")


def _spring(made: Drawn, at_hz: float, power: int, level_db: float) -> Way:
    """The displacement, a low-pass of the force, raised to a power; what it does to the sound is that of a force."""
    size = 2.0 ** (power - 1) * 10.0 ** (level_db / 20.0)
    low = SecondOrder(at_hz=at_hz, q=float(made.random.uniform(0.6, 1.1)), high=False)
    return Way(before=low, powers={power: size}, after=made.body.after)


def _loose(made: Drawn, *, regular: bool) -> Loose:
    return Loose(
        seed=made.seed,
        at_hz=float(np.exp(made.random.uniform(np.log(60.0), np.log(300.0)))),
        q=float(made.random.uniform(3.0, 10.0)),
        gap=float(made.random.uniform(0.3, 0.7)),
        size=float(10.0 ** (made.random.uniform(-48.0, -32.0) / 20.0)),
        regular=regular,
    )


def _of_loose(part: Loose, conditions: tuple[str, ...], **more: object) -> Fault:
    wide = EACH * 2.0 ** (1.0 / part.q)
    fault = Fault(words=STRIKES, low_hz=part.at_hz / wide, high_hz=part.at_hz * wide, conditions=conditions)
    return replace(fault, **more)  # type: ignore[arg-type]


def loosened(seed: int) -> Made:
    """A part rattles where the plan says that it was loosened, and there alone."""
    made = _begun("loosened", seed)
    part = _loose(made, regular=False)
    devices = {"stand": made.device, "loose": _with(_elsewhere(made, made.device), part)}
    fault = _of_loose(part, ("loose",), changed_makes_it=True)
    note = f"strikes at {part.at_hz:.0f} Hz"
    return _made("loosened", made, devices, (fault,), note=note, changed={"loose": "the trim ring loose"})


def loose_in_both(seed: int) -> Made:
    """The same rattle with and without what the plan says was loosened: something else makes it."""
    made = _begun("loose-in-both", seed)
    part = _loose(made, regular=False)
    other = replace(part, size=part.size * float(10.0 ** (made.random.uniform(-3.0, 3.0) / 20.0)))
    devices = {"stand": _with(made.device, part), "loose": _with(_elsewhere(made, made.device), other)}
    fault = _of_loose(part, ("stand", "loose"), owners=OWN)
    note = f"strikes at {part.at_hz:.0f} Hz"
    return _made("loose-in-both", made, devices, (fault,), note=note, changed={"loose": "the trim ring loose"})


def desk_copy(seed: int) -> Made:
    """A desk reflects; in half of them the loudspeaker distorts at a place of its own as well, in both conditions."""
    made = _begun("desk-copy", seed, curvature_db=4.0)
    copy, faults, device = _copy(made), [], made.device
    if made.random.random() < 0.5:
        at_hz = float(np.exp(made.random.uniform(np.log(100.0), np.log(2000.0))))
        device = device.with_ways(local(made, at_hz, above_db=float(made.random.uniform(6.0, 20.0))).way)
        both = ("stand", "desk")
        own = Fault(
            words=frozenset({"loudspeaker-generated", *LOSES, "expansion"}),
            low_hz=at_hz / EACH,
            high_hz=at_hz * EACH,
            conditions=both,
            owners=OWN,
        )
        faults.append(own)
    faults.append(_of_copy("desk"))
    devices = {"stand": device, "desk": _elsewhere(made, device, copy=copy)}
    note = f"a copy of {copy.amplitude:.2f}, {1000.0 * copy.delay_s:.2f} ms late"
    return _made("desk-copy", made, devices, tuple(faults), note=note)


def limiter(seed: int) -> Made:
    """A limiter for the bass, in both conditions."""
    made = _begun("limiter", seed)
    corner_hz, holds_db = float(made.random.uniform(70.0, 250.0)), float(made.random.uniform(85.0, 93.0))
    limit = Limit(held=10.0 ** ((holds_db - 96.0) / 20.0), hard=float(made.random.uniform(1.0, 4.0)))
    low = SecondOrder(at_hz=corner_hz, q=0.7, high=False)
    device = replace(made.device, limiter=Slow(gain=limit, heard=low, settling_s=max(0.05, 2.0 / corner_hz)))
    copy = _maybe_copy(made)
    devices = {"stand": device, "desk": _elsewhere(made, device, copy=copy)}
    fault = Fault(
        words=LOSES | {"unpredicted-by-orders"},
        low_hz=20.0,
        high_hz=3.0 * corner_hz,
        conditions=("stand", "desk"),
        owners=OWN,
    )
    faults = (fault,) if copy is None else (fault, _of_copy("desk"))
    return _made("limiter", made, devices, faults, note=f"holds {holds_db:.0f} dB below {corner_hz:.0f} Hz")


def against_desk(seed: int) -> Made:
    """A cabinet shakes against the desk: it is there alone, and no part was changed; in half with soft feet as well."""
    made = _begun("against-desk", seed)
    part = _loose(made, regular=bool(made.random.random() < 0.7))
    devices = {"stand": made.device, "desk": _with(_elsewhere(made, made.device), part)}
    if made.random.random() < 0.5:
        devices["feet"] = _elsewhere(made, made.device)
    fault = _of_loose(part, ("desk",), owners=OF_PLACE)
    note = f"{'regular' if part.regular else 'irregular'} strikes at {part.at_hz:.0f} Hz"
    return _made("against-desk", made, devices, (fault,), note=note)


def in_noise(seed: int) -> Made:
    """Where the room is 15 to 30 dB louder the loudspeaker's distortion is hidden, and there all the same."""
    made = _begun("in-noise", seed, curvature_db=-4.0)
    at_hz = float(np.exp(made.random.uniform(np.log(80.0), np.log(1500.0))))
    one = local(made, at_hz, above_db=float(made.random.uniform(8.0, 22.0)))
    device = made.device.with_ways(one.way)
    louder_db = float(made.random.uniform(15.0, 30.0))
    devices = {"stand": device, "desk": _elsewhere(made, device)}
    fault = Fault(
        words=MAKES | LOSES | {"expansion"},
        low_hz=at_hz / EACH,
        high_hz=at_hz * EACH,
        conditions=("stand", "desk"),
        owners=OWN,
    )
    changed = {"desk": "the grille off"} if made.random.random() < 0.5 else {}
    return _made(
        "in-noise",
        made,
        devices,
        (fault,),
        note=f"orders {one.cause.orders} at {at_hz:.0f} Hz, noise {made.noise_db_spl:.0f} and {louder_db:+.0f} dB",
        changed=changed,
        noise_over_db={"desk": louder_db},
    )


def rattle_in_noise(seed: int) -> Made:
    """The same rattle in both, which a louder room hides where the plan does not call it loose."""
    made = _begun("rattle-in-noise", seed)
    part = _loose(made, regular=False)
    louder_db = float(made.random.uniform(15.0, 30.0))
    devices = {
        "desk": _with(made.device, replace(part, seed=part.seed + 1_000_000)),
        "loose": _with(_elsewhere(made, made.device), part),
    }
    fault = _of_loose(part, ("desk", "loose"), owners=OWN)
    return _made(
        "rattle-in-noise",
        made,
        devices,
        (fault,),
        note=f"strikes at {part.at_hz:.0f} Hz, noise {made.noise_db_spl:.0f} and {louder_db:+.0f} dB",
        changed={"loose": "the trim ring loose"},
        noise_over_db={"desk": louder_db},
    )


def plain(seed: int) -> Made:
    """Weak curvature and ripple, put up twice: nothing is in one condition alone."""
    made = _begun("plain", seed, curvature_db=4.0)
    devices = {"stand": made.device, "desk": _elsewhere(made, made.device)}
    return _made("plain", made, devices, (), note="nothing", changed={"desk": "the grille off"})


FAMILIES: dict[str, Callable[[int], Made]] = {
    "wandering": wandering,
    "suspension": suspension,
    "loosened": loosened,
    "loose-in-both": loose_in_both,
    "desk-copy": desk_copy,
    "limiter": limiter,
    "against-desk": against_desk,
    "in-noise": in_noise,
    "rattle-in-noise": rattle_in_noise,
    "plain": plain,
}
