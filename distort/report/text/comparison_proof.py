"""What a comparison proves, said before its numbers: whether the loudspeaker itself behaved differently.

Compression is the loudspeaker's own: it is the change of a response against itself at a lower level, and whatever the
sound meets on its way is the same at both. So where compression changed, the loudspeaker itself did. The reverse is no
proof: a set-up changes the response alone, and so does a part of the loudspeaker that does not compress.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from distort.analysis.common.quantities import CHANGE, CHANGE_OF_MULTITONE, HARMONICS, RESPONSE, THD
from distort.report.text.numbers import hertz_words

OF_RESPONSE = {RESPONSE.in_comparison}
OF_DISTORTION = {one.in_comparison for one in (THD, *HARMONICS[:4])}
OF_COMPRESSION = {one.in_comparison for one in (CHANGE, CHANGE_OF_MULTITONE)}


@dataclass(frozen=True)
class Proof:
    """What is proved, and why."""

    claim: str
    reason: str


def proof(quantities: Any, first: str, second: str) -> Proof | None:
    """Of a comparison's `quantities`, as its document holds them; None where neither response nor compression can be
    read.

    first, second   what was compared with what, as it is called
    """
    listed = [one for one in quantities if isinstance(one, dict)] if isinstance(quantities, list) else []
    listed = [one for one in listed if one.get("judged")]
    response, distortion, compression = (
        [one for one in listed if one.get("quantity") in names]
        for names in (OF_RESPONSE, OF_DISTORTION, OF_COMPRESSION)
    )
    from_to = f"From {first} to {second}"
    moved = _largest(response)
    if compression and any(one.get("changed") for one in compression):
        top = _largest(compression)
        return Proof(
            f"{from_to} the loudspeaker itself behaved differently:",
            f"its compression changed{'' if top is None else f' by up to {top}'}.",
        )
    if not compression:
        if moved is None:
            return None
        return Proof(
            f"{from_to} the response changed by up to {moved}.",
            "Whether the loudspeaker itself changed is open: compression was not compared.",
        )
    least = max((float(one["excluded_above_db"]) for one in compression if one.get("excluded_above_db")), default=None)
    unchanged = "its compression did not change" + (
        "" if least is None else f" (a change above {max(least, 0.01):.2f} dB is excluded)"
    )
    if moved is None:
        return Proof(f"{from_to} nothing changed that can be told:", f"neither the response, and {unchanged}.")
    ratio = (
        ""
        if not any(one.get("changed") for one in distortion)
        else (" Distortion re the fundamental changed with the response: where that dips, it rises.")
    )
    return Proof(
        f"{from_to} the response changed, and what limits the loudspeaker did not:",
        f"the response changed by up to {moved}, and {unchanged}. A set-up does so; of the loudspeaker, only a part "
        f"that does not compress.{ratio}",
    )


def _largest(found: Sequence[Mapping[str, Any]]) -> str | None:
    """The largest change in words; None where nothing changed."""
    regions = [
        (abs(float(region["difference_db"])), float(region["difference_db"]), float(region["peak_hz"]))
        for one in found
        if one.get("changed")
        for region in one.get("regions", ())
    ]
    if not regions:
        return None
    _, difference_db, peak_hz = max(regions)
    return f"{difference_db:+.1f} dB at {hertz_words(peak_hz)}".replace("-", "\N{MINUS SIGN}")
