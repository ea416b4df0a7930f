"""A reel as plain numbers and back: where in what was played each stimulus, chirp and silence lies."""

from dataclasses import asdict, fields
from typing import Any

from distort.errors import shown
from signals import Chirp, Reel, SignalError, Silence, describe, from_description

_BESIDE_STIMULI: dict[str, type[Any]] = {"chirp": Chirp, "silence": Silence}


def layout_of(reel: Reel) -> list[dict[str, Any]]:
    """Each item of `reel`: its kind, first sample, length in samples, and every field that makes it again."""
    return [
        {**_described(item), "start_sample": start, "n_samples": item.n_samples}
        for start, item in zip(reel.starts, reel.items, strict=True)
    ]


def reel_of(layout: Any) -> Reel:
    """The reel that `layout_of` wrote down, sample for sample the same. Raises ValueError when it cannot be made."""
    if not isinstance(layout, list) or not all(isinstance(item, dict) for item in layout):
        raise ValueError(f"a list of objects is needed, not {shown(layout)}")
    reel = Reel(tuple(_made(item) for item in layout))
    for start, made, item in zip(reel.starts, reel.items, layout, strict=True):
        if (item.get("start_sample"), item.get("n_samples")) != (start, made.n_samples):
            raise ValueError(
                f"the {item.get('kind')} does not lie where it was written to lie (first sample {start}, "
                f"{made.n_samples} samples): the file was changed, or made by another version"
            )
    return reel


def stimulus_of(description: Any) -> Any:
    """The stimulus that `signals.describe` wrote down. Raises ValueError when it cannot be made."""
    if not isinstance(description, dict):
        raise ValueError(f"an object is needed, not {shown(description)}")
    return from_description(description)


def _described(item: Any) -> dict[str, Any]:
    for kind, made_by in _BESIDE_STIMULI.items():
        if type(item) is made_by:
            return {"kind": kind, **asdict(item)}
    return describe(item)


def _made(item: dict[str, Any]) -> Any:
    description = {name: value for name, value in item.items() if name not in ("start_sample", "n_samples")}
    kind = _BESIDE_STIMULI.get(str(description.get("kind")))
    if kind is None:
        return stimulus_of(description)
    given = {name: value for name, value in description.items() if name != "kind"}
    if wrong := sorted(set(given) ^ {field.name for field in fields(kind)}):
        raise ValueError(f"this {description['kind']} is not described as expected: {', '.join(wrong)}")
    try:
        return kind(**given)
    except (TypeError, ArithmeticError) as error:
        raise SignalError(f"this {description['kind']} is described with a value of the wrong type") from error
