"""What the demo's simulated loudspeaker is made of, condition by condition: demo_recordings/truth.json.

Sizes come from its steady state (`capture.simulated.truth`: no sweep, no window, no noise) at the frequencies where its
table of parameters puts each cause, at the highest level that the condition was played at. `demo_recordings/make.sh`
writes the file with

    python -m tests.demo_truth
"""

import json
import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from distort.capture.simulated.faults import WORDS
from distort.capture.simulated.parameters import COPPER_PER_K, Parameters
from distort.capture.simulated.truth import steady_state_harmonics

TRUTH = Path(__file__).resolve().parents[1] / "demo_recordings" / "truth.json"
MADE = Parameters()

LOWEST_DB_SPL = 81.0
HIGHEST_DB_SPL = {"stand": 101.0, "desk": 101.0, "loose": 96.0}
"""Of each condition of the demo's plan, as `make.sh` plays it."""

FLANK_OCTAVES = 0.5

SHOWS_DB = 6.0
"""True rise of an order over its neighbourhood from which it must be found: twice the interval of 3 dB that the rows of
evidence state there."""

SHOWS_CHANGE_DB = 0.5
"""True change with level from which it must be found: what a band must fall short by to be told."""

SHOWS_STRIKES_DB_SPL = 50.0
"""Level at 1 m of strikes from which a rattle must be found: 33 dB over the noise of the demo's room (own choice)."""

SHORT = ("compression", "limiting", "heating")


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One thing that the simulated loudspeaker is made of, or stands beside."""

    name: str
    is_: str
    """In words."""
    level_db_spl: float
    """At which it is stated."""
    at_hz: float
    low_hz: float | None = None
    high_hz: float | None = None
    """Of a band."""
    told_as: tuple[str, ...]
    """Explanations that are right for it."""
    size_db: float
    """Its true size."""
    shows_db: float
    """From which size it must be found."""
    order: int | None = None
    flanks: tuple[tuple[float, float], ...] = ()
    """Of a rise of `order`: frequency and true level re the fundamental half an octave away. Where either is lost in
    noise, nobody can tell the rise."""


def of_order(order: int, at_hz: float, condition: str, *, level_db_spl: float) -> tuple[float, tuple[Any, ...]]:
    """How far an order, re the fundamental, stands above the mean of both sides, half an octave away, dB; the sides."""
    drive_dbfs = level_db_spl - MADE.electronics.full_scale_db_spl
    below, there, above = (
        (
            tone.frequency_hz,
            float(tone.relative_db[order - 1]),
        )
        for tone in (
            steady_state_harmonics(at_hz * 2.0**octaves, drive_dbfs, orders=order, condition=condition, with_tail=False)
            for octaves in (-FLANK_OCTAVES, 0.0, FLANK_OCTAVES)
        )
    )
    return there[1] - 0.5 * (below[1] + above[1]), (below, above)


def change_db(at_hz: float, highest_db_spl: float) -> float:
    """Change of the level from the lowest to the highest beyond that of the drive, cold."""
    quiet, loud = (
        float(
            steady_state_harmonics(
                at_hz, level - MADE.electronics.full_scale_db_spl, orders=1, with_tail=False
            ).level_db_spl[0]
        )
        for level in (LOWEST_DB_SPL, highest_db_spl)
    )
    return loud - quiet - (highest_db_spl - LOWEST_DB_SPL)


def causes(condition: str) -> Iterator[Cause]:
    """All that stands in the table of parameters and concerns what was measured."""
    level = HIGHEST_DB_SPL[condition]
    yield from _of_orders(condition, level)
    yield from _of_level(level)
    if condition == "desk":
        room = MADE.room
        yield Cause(
            name="desk",
            is_="a reflection from the desk",
            level_db_spl=level,
            at_hz=343.2 / (2.0 * room.desk_path_difference_m),
            told_as=("delayed-copy",),
            size_db=20.0 * math.log10(1.0 - room.desk_amplitude),
            shows_db=SHOWS_DB,
        )
    if condition == "loose":
        yield _loose_part(level)


def _of_orders(condition: str, level: float) -> Iterator[Cause]:
    cone = MADE.cone
    for name, is_, order, at_hz, told_as in (
        (
            "surround",
            "a resonance of the surround, which makes a third harmonic",
            3,
            cone.edge_hz,
            "loudspeaker-generated",
        ),
        (
            "break-up",
            "the bell mode of the cone, where the fourth harmonic comes out",
            4,
            cone.breakup_hz / 4.0,
            "product-on-peak",
        ),
    ):
        size_db, flanks = of_order(order, at_hz, condition, level_db_spl=level)
        yield Cause(
            name=name,
            is_=is_,
            level_db_spl=level,
            at_hz=at_hz,
            told_as=(told_as,),
            size_db=size_db,
            shows_db=SHOWS_DB,
            order=order,
            flanks=flanks,
        )


def _of_level(level: float) -> Iterator[Cause]:
    tuning_hz, crossover_hz = MADE.box.tuning_hz, MADE.electronics.crossover_hz
    # 10 W: half of what 101 dB SPL take of a dome of 90.3 dB SPL at 2.83 V and 5 ohm, whose coil is warm in seconds
    power_w = 10.0 * 10.0 ** ((level - 101.0) / 10.0)
    warm_db = 20.0 * math.log10(1.0 + COPPER_PER_K * MADE.tweeter.coil.coil_k_per_w * power_w)
    for name, is_, at_hz, low_hz, high_hz, size_db in (
        ("limiter", "the limiter of the low band", 500.0, 2.0 * tuning_hz, crossover_hz, change_db(500.0, level)),
        (
            "travel",
            "losses of the port, force factor and stiffness, all of them at the tuning of the box",
            1.15 * tuning_hz,
            0.7 * tuning_hz,
            75.0,
            change_db(1.15 * tuning_hz, level),
        ),
        ("dome's coil", "the voice coil of the dome, which warms", 1e4, 2.0 * crossover_hz, 2e4, -warm_db),
    ):
        yield Cause(
            name=name,
            is_=is_,
            level_db_spl=level,
            at_hz=at_hz,
            low_hz=low_hz,
            high_hz=high_hz,
            told_as=SHORT,
            size_db=size_db,
            shows_db=SHOWS_CHANGE_DB,
        )


def _loose_part(level: float) -> Cause:
    """It strikes where its resonance carries it over its gap: `|1 + i Q (r - 1/r)| < a`, r = f/f0, a the drive over
    that which just makes it strike."""
    part = MADE.loose_part
    over = 10.0 ** ((level - part.reaches_db_spl) / 20.0)
    apart = math.sqrt(over**2 - 1.0) / (2.0 * part.q)
    return Cause(
        name="loose part",
        is_=WORDS["loose"],
        level_db_spl=level,
        at_hz=part.resonance_hz,
        low_hz=part.resonance_hz * (math.sqrt(1.0 + apart**2) - apart),
        high_hz=part.resonance_hz * (math.sqrt(1.0 + apart**2) + apart),
        told_as=("rattle",),
        size_db=part.ring_db_spl + 20.0 * math.log10(over - 1.0),
        shows_db=SHOWS_STRIKES_DB_SPL,
    )


def truth() -> dict[str, Any]:
    """As it stands in the file."""

    def plain(value: Any) -> Any:
        if isinstance(value, float):
            return round(value, 2)
        return [plain(each) for each in value] if isinstance(value, tuple | list) else value

    def told(cause: Cause) -> dict[str, Any]:
        return {name.rstrip("_"): plain(value) for name, value in asdict(cause).items() if value not in (None, ())}

    return {
        "format": 1,
        "is": "what the simulated loudspeaker of this session is made of: never a measurement",
        "conditions": {condition: [told(cause) for cause in causes(condition)] for condition in HIGHEST_DB_SPL},
    }


def read_truth() -> dict[str, tuple[Cause, ...]]:
    """The causes that the file states, by condition."""

    def cause(told: dict[str, Any]) -> Cause:
        fields = {{"is": "is_"}.get(name, name): value for name, value in told.items()}
        flanks = tuple((each[0], each[1]) for each in fields.pop("flanks", ()))
        return Cause(**fields | {"told_as": tuple(fields["told_as"]), "flanks": flanks})

    stated = json.loads(TRUTH.read_text(encoding="utf-8"))["conditions"]
    return {condition: tuple(cause(each) for each in told) for condition, told in stated.items()}


def text() -> str:
    """The file, a cause a line."""
    whole = truth()
    conditions = whole.pop("conditions")
    lines = [
        f"{json.dumps(condition)}: [\n  " + ",\n  ".join(json.dumps(cause) for cause in told) + "]"
        for condition, told in conditions.items()
    ]
    return json.dumps(whole)[:-1] + ',\n"conditions": {\n' + ",\n".join(lines) + "}}\n"


if __name__ == "__main__":
    TRUTH.write_text(text(), encoding="utf-8")
