"""What all stimuli have in common, and how one is written down and made again exactly."""

from dataclasses import asdict, fields
from typing import Any, Protocol, TypeVar

import numpy as np
import numpy.typing as npt

from signals.burst import Burst, BurstSeries
from signals.errors import SignalError
from signals.frames import Frames
from signals.heating import Heating
from signals.multitone import Multitone
from signals.noise import Noise
from signals.programme import Programme
from signals.sampled_programme import SampledProgramme
from signals.sweep import SampledSweep, Sweep
from signals.tones import Tone


class Playable(Protocol):
    """Anything that takes its place in a reel."""

    @property
    def sample_rate(self) -> int:
        """Samples a second."""
        ...

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        ...

    def samples(self) -> npt.NDArray[np.float64]:
        """float64 `(n_samples,)`, digital full scale = 1."""
        ...


class Stimulus(Playable, Protocol):
    """What a loudspeaker is tested with."""

    @property
    def drive_dbfs(self) -> float:
        """r.m.s. of the steady part, dBFS (AES17)."""
        ...

    @property
    def highest_hz(self) -> float:
        """The highest frequency that is tested with it."""
        ...


T = TypeVar("T")

KINDS: dict[str, type[Any]] = {
    "sweep": Sweep,
    "sampled-sweep": SampledSweep,
    "tone": Tone,
    "burst": Burst,
    "burst-series": BurstSeries,
    "frames": Frames,
    "noise": Noise,
    "multitone": Multitone,
    "heating": Heating,
    "programme": Programme,
    "sampled-programme": SampledProgramme,
}
"""Every kind of stimulus that can be written down, by the name it is written under."""


def describe(stimulus: Stimulus) -> dict[str, Any]:
    """`stimulus` as plain numbers and texts: its kind and every field. Raises SignalError for a kind not in KINDS."""
    given: Any = stimulus  # a dataclass, which the protocol cannot say
    return {"kind": kind_of(stimulus), **asdict(given)}


def kind_of(stimulus: Stimulus) -> str:
    """The name in KINDS of what `stimulus` is. Raises SignalError for what is no stimulus, or not in KINDS."""
    for kind, made_by in KINDS.items():
        if type(stimulus) is made_by:
            return kind
    raise SignalError(f"{type(stimulus).__name__} cannot be written down: add it to signals.stimulus.KINDS")


def as_a(made_by: type[T], stimulus: Stimulus) -> T | None:
    """`stimulus` where it is one of `made_by`, for code that is about this kind alone; None where it is another."""
    return stimulus if isinstance(stimulus, made_by) else None


def sampled(stimulus: Stimulus) -> SampledSweep | None:
    """`stimulus` where its samples are no part of its description and stand in a file; None for all others."""
    return as_a(SampledSweep, stimulus)


def from_description(description: dict[str, Any]) -> Any:
    """The stimulus that `describe` wrote down, sample for sample the same.

    Raises SignalError when the kind is unknown, a field is missing or not of this kind, or a value is out of range.
    """
    kind = description.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise SignalError(f"unknown kind of stimulus {kind!r:.80}: it is one of {', '.join(KINDS)}")
    given = {name: value for name, value in description.items() if name != "kind"}
    known = {field.name for field in fields(KINDS[kind])}
    if set(given) != known:
        wrong = ", ".join(sorted(set(given) ^ known))
        raise SignalError(f"this {kind} is not described as expected: missing or unknown: {wrong}")
    try:
        return KINDS[kind](**given)
    except (TypeError, ArithmeticError) as error:  # a text for a number, or a number that no other can be made of
        raise SignalError(f"this {kind} is described with a value of the wrong type or size: {error}") from error
