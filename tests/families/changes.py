"""Families whose response changes with level: at one place, or as a whole."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.families.devices import AnyWay, Bent, Device, Slow, Way
from tests.families.drawing import Case, Drawn, drawn, place_hz
from tests.families.filters import Band, Filter, FloatArray, SecondOrder
from tests.families.paths import reflected, resonant
from tests.families.truth import Cause, measured


def _settling_s(made: Drawn, at_hz: float) -> float:
    """Short against the sweep's passage, long against a period, so that it bends no single period."""
    return max(float(made.random.uniform(0.008, 0.025)), 5.0 / at_hz)


@dataclass(frozen=True, kw_only=True)
class Loss:
    """Gain less 1 of a slow loss that is `db` at a sine of amplitude 1 (negative: of a gain)."""

    db: float

    def __call__(self, power: FloatArray) -> FloatArray:
        grown = 2.0 * (10.0 ** (abs(self.db) / 10.0) - 1.0) * power
        gain = np.sqrt(1.0 + grown)
        return np.asarray((1.0 / gain if self.db > 0.0 else gain) - 1.0)


def _local_change(made: Drawn, at_hz: float, change_db: float, *, q: float, slow: bool) -> AnyWay:
    """A way beside the body that changes the tone by `change_db` at 96 dB about `at_hz`: slowly, or by a cubic."""
    band, own = Band(at_hz=at_hz, q=q), made.body
    if slow:
        settling_s = _settling_s(made, at_hz)
        return Slow(gain=Loss(db=-change_db), heard=band, settling_s=settling_s, before=band, after=own.after)
    cubic = (10.0 ** (change_db / 20.0) - 1.0) * 4.0 / 3.0
    return Way(before=band, powers={3: cubic}, after=own.after)


def _changed_place(family: str, seed: int, *, sign: float, heights_db: tuple[float, float] | None) -> Case:
    """A dip or peak of the response at which the loudspeaker itself changes with level."""
    at_hz = place_hz(family, seed)
    made = drawn(family, seed, highest_hz=at_hz)
    q, slow = float(made.random.uniform(1.5, 6.0)), bool(made.random.random() < 0.5)
    largest_db = 3.0 if slow or sign > 0 else 2.5
    change_db = sign * float(np.exp(made.random.uniform(np.log(0.05), np.log(largest_db))))
    way = _local_change(made, at_hz, change_db, q=q, slow=slow)
    height_db = (
        -float(made.random.uniform(4.0, 15.0)) if heights_db is None else float(made.random.uniform(*heights_db))
    )
    place: Filter
    if heights_db is None and at_hz < 4000.0 and made.random.random() < 0.4:
        place, path = reflected(made, at_hz, depth_db=-height_db)
    else:
        place, path = resonant(at_hz, q, height_db)
    without = replace(made.device, heard=place)
    device = without.with_ways(way)
    word = "compression" if sign < 0 else "expansion"
    cause = Cause(
        explanation=word,
        # A dip that grows deeper and a peak that grows higher with level are resonances whose height changes; what
        # makes a gain slower than a period a limiter is a matter of words.
        accepted=("level-dependent-resonance", *(("limiting",) if slow and sign < 0 else ())),
        also=(path.explanation, *path.accepted, *(() if slow else ("loudspeaker-generated",))),
        frequency_hz=at_hz,
        places_hz=path.places_hz,
        orders=() if slow else (3,),
        of_loudspeaker=True,
        numbers={"q": q, "height_db": height_db, "slow": float(slow)},
    )
    sized = measured(cause, device, without)
    return made.case(device, made.truth(replace(sized, response_db=height_db)))


def own_compression(seed: int) -> Case:
    """At a dip of the response (a resonance's or a copy's) the loudspeaker itself loses level."""
    return _changed_place("own-compression", seed, sign=-1.0, heights_db=None)


def expansion_at_a_peak(seed: int) -> Case:
    """A peak that grows higher with level."""
    return _changed_place("expansion-at-a-peak", seed, sign=1.0, heights_db=(3.0, 12.0))


def expansion_at_a_dip(seed: int) -> Case:
    """At a dip the loudspeaker itself gains level, in all its parts alike."""
    return _changed_place("expansion-at-a-dip", seed, sign=1.0, heights_db=None)


@dataclass(frozen=True, kw_only=True)
class Saturating:
    """What takes the share `taken` of a small sound and less of a large one: -taken s tanh(x / s)."""

    taken: float
    saturation: float

    def __call__(self, x: FloatArray) -> FloatArray:
        return np.asarray(-self.taken * self.saturation * np.tanh(x / self.saturation))


def saturating_absorber(seed: int) -> Case:
    """A resonance that takes sound away, and less of it when it is loud: its dip fills with level."""
    at_hz = place_hz("saturating-absorber", seed)
    made = drawn("saturating-absorber", seed, highest_hz=at_hz)
    depth_db, q = float(made.random.uniform(4.0, 18.0)), float(made.random.uniform(1.5, 8.0))
    taken = 1.0 - 10.0 ** (-depth_db / 20.0)
    band = Band(at_hz=at_hz, q=q)
    slow = bool(made.random.random() < 0.5)
    saturation = float(np.exp(made.random.uniform(np.log(0.5), np.log(15.0))))
    absorber: Bent | Slow
    if slow:
        gain: Callable[[FloatArray], FloatArray] = lambda power: -taken / np.sqrt(1.0 + power / saturation**2)  # noqa: E731
        absorber = Slow(gain=gain, heard=band, settling_s=_settling_s(made, at_hz), before=band)
    else:
        times = 2 if at_hz < 0.05 * made.sample_rate else 4  # what folds at 2 is then beyond the 30th order
        curve = Saturating(taken=taken, saturation=saturation)
        absorber = Bent(curve=curve, before=band, oversampling=times)
    device = Device(ways=(made.body,), absorbers=(absorber,))
    cause = Cause(
        explanation="level-dependent-resonance",
        frequency_hz=at_hz,
        places_hz=(at_hz,),
        orders=() if slow else (3,),
        of_loudspeaker=True,
        numbers={"q": q, "depth_db": depth_db, "saturation": saturation, "slow": float(slow)},
    )
    sized = measured(cause, device, made.device)
    if sized.largest_change_db() < 0.1:
        sized = replace(sized, accepted=("resonance",))  # it fills too little to be more than that
    if not slow:
        sized = replace(sized, also=("loudspeaker-generated",))
    return made.case(device, made.truth(sized))


@dataclass(frozen=True, kw_only=True)
class Limit:
    """Gain that holds the power heard near that of a sine of `held` amplitude; the greater `hard`, the sharper."""

    held: float
    hard: float

    def __call__(self, power: FloatArray) -> FloatArray:
        return np.asarray((1.0 + (2.0 * power / self.held**2) ** self.hard) ** (-0.5 / self.hard))


def bass_driven_limiter(seed: int) -> Case:
    """The bass sets a gain that holds for everything: in a sweep the bass falls short, in a multitone every tone."""
    corner_hz = place_hz("bass-driven-limiter", seed, 70.0, 250.0)
    made = drawn("bass-driven-limiter", seed, highest_hz=corner_hz)
    holds_db = float(made.random.uniform(84.0, 99.0))
    attack_s = float(np.exp(made.random.uniform(np.log(0.02), np.log(0.2))))
    limit = Limit(held=10.0 ** ((holds_db - 96.0) / 20.0), hard=float(made.random.uniform(1.0, 4.0)))
    low = SecondOrder(at_hz=corner_hz, q=0.7, high=False)
    limiter = Slow(gain=limit, heard=low, settling_s=max(attack_s, 2.0 / corner_hz))
    body = replace(made.body, powers={n: size for n, size in made.body.powers.items() if n <= 3})
    device = Device(ways=(body,), limiter=limiter)
    cause = Cause(
        explanation="limiting",
        accepted=("compression",),
        frequency_hz=corner_hz / 1.5,
        places_hz=tuple(np.geomspace(40.0, 2.0 * corner_hz, 24)),
        of_loudspeaker=True,
        numbers={"holds_db_spl": holds_db, "corner_hz": corner_hz, "settling_s": limiter.settling_s},
    )
    sized = measured(cause, device, Device(ways=(body,)))
    return made.case(device, made.truth(sized))
