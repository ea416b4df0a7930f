"""What every made loudspeaker has besides its family's cause: a band, ripple, weak curvature, noise, a set-up."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from tests.families.devices import Device, Way
from tests.families.filters import Filter, Ripple, SecondOrder, chain
from tests.families.truth import LEVELS, Cause, Truth

LOW_RATE_HZ, HIGH_RATE_HZ = 24000, 48000
"""Half of them at the lower rate, where their places allow it, because they cost half."""

LOWEST_HZ = 40.0
"""Of sweep and multitone: below it the drive falls."""

LOW_RATE_TO_HZ = 2200.0
"""The highest place whose orders up to 4 lie within the sweep at the lower rate."""

STOP_SHARE = 0.45
"""Where sweeps stop, of the sample rate."""


@dataclass(frozen=True, kw_only=True)
class Event:
    """A sound of something else: `samples` at the sample rate begin `at_s` after the beginning of the stimulus."""

    stimulus_name: str
    level_db_spl: float
    take: int
    at_s: float
    kind: str
    peak_db_spl: float


@dataclass(frozen=True, kw_only=True)
class Case:
    """One session to be made, and what is true of it.

    devices         of each condition
    sweep_s         length of the sweep
    noise_db_spl    of the room, all bands together
    conversion_db   attenuation of the filter of a poor conversion of the sample rate; None: there was none
    free_field      whether a response measured elsewhere, without reflections and room, is in the session
    changed         what the plan says was changed in a condition
    noise_over_db   by how much the room is louder in a condition
    """

    devices: dict[str, Device]
    truth: Truth
    sample_rate: int
    sweep_s: float
    noise_db_spl: float
    seed: int
    levels: tuple[float, ...] = LEVELS
    takes: int = 1
    radiation: str = "free"
    events: tuple[Event, ...] = ()
    conversion_db: float | None = None
    free_field: Filter | None = None
    changed: Mapping[str, str] = field(default_factory=dict)
    noise_over_db: Mapping[str, float] = field(default_factory=dict)


Family = Callable[[int], Case]


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A loudspeaker without any cause, and what its session is like."""

    random: np.random.Generator
    family: str
    seed: int
    device: Device
    body: Way
    sample_rate: int
    sweep_s: float
    noise_db_spl: float
    takes: int

    @property
    def stop_hz(self) -> float:
        """Where the sweep stops."""
        return STOP_SHARE * self.sample_rate

    def truth(self, *causes: Cause, harmless: tuple[str, ...] = (), note: str = "") -> Truth:
        """What is true of its session."""
        return Truth(family=self.family, seed=self.seed, causes=causes, harmless=harmless, note=note)

    def case(self, device: Device | dict[str, Device], truth: Truth, **more: object) -> Case:
        """The session of `device`, a condition each where it is several."""
        devices = device if isinstance(device, dict) else {"default": device}
        made = Case(
            devices=devices,
            truth=truth,
            sample_rate=self.sample_rate,
            sweep_s=self.sweep_s,
            noise_db_spl=self.noise_db_spl,
            seed=self.seed,
            takes=self.takes,
        )
        return replace(made, **more)  # type: ignore[arg-type]

    def body_with(self, *, before: Filter | None = None, after: Filter | None = None) -> Way:
        """The loudspeaker's own way with a filter more before its curve or after it."""
        body = self.body
        if before is not None:
            body = replace(body, before=chain(body.before, before))
        if after is not None:
            body = replace(body, after=chain(body.after, after))
        return body


def drawn(family: str, seed: int, *, highest_hz: float, curvature_db: float = 0.0) -> Drawn:
    """A loudspeaker for a place up to `highest_hz`.

    curvature_db   added to the level of its orders
    """
    random = _random(family, seed, "body")
    high = random.random() < 0.1 or highest_hz > LOW_RATE_TO_HZ
    levels_db = random.uniform([-62, -70, -80, -84], [-44, -52, -64, -68]) + curvature_db
    sign = random.choice([-1.0, 1.0], 4)
    orders = (2, 3) if random.random() < 0.4 else (2, 3, 4, 5)
    # A sine of amplitude 1 through c x^n has c 2^(1-n) of order n.
    powers = {1: 1.0}
    for order, level_db, turned in zip(orders, levels_db, sign, strict=False):
        powers[order] = float(turned * 2.0 ** (order - 1) * 10.0 ** (level_db / 20.0))
    seeds = random.integers(0, 2**31, 8)
    ripple = float(random.uniform(0.2, 0.9))
    own = float(random.uniform(0.1, 0.5))
    edge = SecondOrder(at_hz=float(random.uniform(30.0, 55.0)), q=float(random.uniform(0.55, 0.9)), high=True)
    body = Way(
        before=chain(edge, Ripple(seed=int(seeds[0]), rms_db=0.3 * ripple)),
        powers=powers,
        shapes={power: Ripple(seed=int(seeds[power]), rms_db=own, q=1.0, per_octave=1.5) for power in orders},
        after=Ripple(seed=int(seeds[1]), rms_db=ripple),
    )
    return Drawn(
        random=_random(family, seed, "cause"),
        family=family,
        seed=seed,
        device=Device(ways=(body,)),
        body=body,
        sample_rate=HIGH_RATE_HZ if high else LOW_RATE_HZ,
        sweep_s=float(random.choice([3.5, 4.0, 5.0])),
        noise_db_spl=float(random.uniform(18.0, 38.0)),
        takes=2 if random.random() < 0.25 else 1,
    )


def _random(family: str, seed: int, what: str) -> np.random.Generator:
    """The cause is drawn apart from the body, so that a family may be changed without changing all loudspeakers."""
    words = [ord(letter) for letter in f"{family} {what}"]
    return np.random.default_rng([seed, *words])


def place_hz(family: str, seed: int, low_hz: float = 60.0, high_hz: float = 8000.0) -> float:
    """Where: the same chance for every octave."""
    return float(np.exp(_random(family, seed, "place").uniform(np.log(low_hz), np.log(high_hz))))
