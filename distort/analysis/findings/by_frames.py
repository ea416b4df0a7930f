"""What frames say of a band or place in which the output falls short: a limiter, heat, or what acts at once."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from distort.analysis.findings.evidence import Evidence, FrameAt
from distort.analysis.findings.finding import Draft, Explanation
from distort.analysis.findings.likelihoods import share_right
from distort.analysis.frames.reading import Cause

OF_FRAMES: frozenset[Explanation] = frozenset({"compression", "limiting", "heating"})
"""What frames tell apart."""

NEAR_OCTAVES = 1.0 / 6.0
"""A frame speaks for a place that is this near, and for a band that it lies in."""

EXPLAINED: Mapping[Cause, Explanation] = {"limiter": "limiting", "heat": "heating", "instantaneous": "compression"}

RIGHT = share_right(181, 182)
"""Of causes called on random devices that nobody had looked at (seeds from 20,000 on, tests/STUDIES.md, Frames)."""


def frame_near(draft: Draft, evidence: Evidence) -> FrameAt | None:
    """The one that loses most of those that were played at the finding's level, within its band or near its place."""
    level = draft.numbers.get("level_db_spl", max(evidence.levels, default=0.0))
    near = [
        one
        for one in evidence.frames
        if one.level_db_spl == level and near_places(draft, one.frequency_hz) and one.reading.causes != ("unknown",)
    ]
    return max(near, key=lambda one: one.reading.compression_db, default=None)


def near_places(draft: Draft, frequency_hz: float) -> bool:
    """Whether a frequency lies within a place of the finding, or near its middle."""
    return any(
        place.low_hz <= frequency_hz <= place.high_hz or abs(np.log2(frequency_hz / place.frequency_hz)) <= NEAR_OCTAVES
        for place in draft.places
    )


def with_frames(draft: Draft, evidence: Evidence) -> Draft:
    """The finding with what a frame tells of it: what the frame says comes first, what another reading said after it.

    Where the frame loses nothing, that is told, and the explanation stays: what takes level is slower.
    """
    frame = frame_near(draft, evidence) if draft.explanation in OF_FRAMES else None
    told = [EXPLAINED[one] for one in frame.reading.causes if one in EXPLAINED] if frame is not None else []
    if frame is not None and frame.reading.causes == ("none",):
        return replace(draft, numbers={**draft.numbers, **_numbers(frame)})
    if frame is None or not told:
        return draft
    before = [one for one in (draft.explanation, *draft.also) if one != "compression"]
    rest = [one for one in (*told[1:], *before) if one not in (told[0], "compression")]
    return replace(
        draft,
        explanation=told[0],
        also=tuple(dict.fromkeys(rest)),
        probability=draft.probability if draft.explanation == told[0] else draft.probability * RIGHT,
        numbers={**draft.numbers, **_numbers(frame)},
    )


def _numbers(frame: FrameAt) -> dict[str, float]:
    """What is known of a frame, dB and seconds."""
    reading = frame.reading
    every = {
        "frame_hz": frame.frequency_hz,
        "frame_loss_db": reading.compression_db,
        "frame_limiter_db": reading.limiter_db,
        "frame_instantaneous_db": reading.instantaneous_db,
        "frame_heat_db": reading.heat_db,
        "frame_attack_s": reading.attack_s,
        "frame_release_s": reading.release_s,
    }
    return {name: float(value) for name, value in every.items() if np.isfinite(value)}
