"""Findings of compression become what frames at their level and near their place tell."""

from dataclasses import replace

import pytest

from distort.analysis.findings.evidence import FrameAt, SetUps
from distort.analysis.findings.find import find
from distort.analysis.findings.finding import Finding
from distort.analysis.frames.reading import FrameReading
from tests.made_evidence import Made

NOTHING = replace(FrameReading.nothing(), uncertainty_db=0.0)


def found(
    reading: FrameReading | None, *, frequency_hz=125.0, level_db_spl=96.0, set_ups: SetUps | None = None
) -> Finding:
    """Of a band below 400 Hz that falls short by 2 dB at 96 dB SPL, with a frame."""
    evidence = Made(change=lambda f, level: -2.0 * (f < 400.0) * (level - 81.0) / 15.0).evidence()
    frames = (FrameAt(level_db_spl=level_db_spl, frequency_hz=frequency_hz, reading=reading),) if reading else ()
    (one,) = find(replace(evidence, frames=frames, set_ups=set_ups or evidence.set_ups))
    return one


def lost(**parts_db: float) -> FrameReading:
    return replace(NOTHING, compression_db=sum(parts_db.values()), **parts_db)


@pytest.mark.parametrize(
    ("parts_db", "explanation", "also"),
    [
        ({"limiter_db": 1.5, "instantaneous_db": 0.1, "heat_db": 0.0}, "limiting", ()),
        ({"limiter_db": 1.0, "instantaneous_db": 0.1, "heat_db": 0.5}, "limiting", ("heating",)),
        ({"limiter_db": 0.5, "instantaneous_db": 0.1, "heat_db": 1.0}, "heating", ("limiting",)),
        ({"limiter_db": 0.0, "instantaneous_db": 1.5, "heat_db": 0.1}, "compression", ()),
        ({"either_db": 1.5}, "compression", ()),
    ],
)
def test_what_a_frame_names_explains_the_band(parts_db, explanation, also) -> None:
    one = found(lost(**parts_db))
    assert (one.explanation, one.also) == (explanation, also)


def test_the_parts_stand_in_the_sentence() -> None:
    reading = replace(lost(limiter_db=1.0, instantaneous_db=0.4, heat_db=0.0), attack_s=0.028, release_s=0.03)
    sentence = found(reading).sentence
    assert "A short loud sine of 125 Hz between quiet ones lost 1.4 dB: 1.0 dB by a limiter" in sentence
    assert "(attack 28 ms, release 30 ms), 0.4 dB at once, in every cycle." in sentence
    assert "heat" not in sentence


def test_where_a_frame_loses_nothing_the_cause_is_slower_and_not_named() -> None:
    one = found(replace(NOTHING, compression_db=0.05))
    assert one.explanation == "compression"
    assert "lost 0.1 dB: what takes level here needs longer" in one.sentence


@pytest.mark.parametrize(
    "elsewhere",
    [{"frequency_hz": 1000.0}, {"level_db_spl": 91.0}],
    ids=["an octave and more above the band", "another level"],
)
def test_a_frame_elsewhere_says_nothing(elsewhere) -> None:
    one = found(lost(limiter_db=2.0, instantaneous_db=0.0, heat_db=0.0), **elsewhere)
    assert one.explanation == "compression"
    assert "--only frames_96dB" in one.next.command


@pytest.mark.parametrize(
    ("set_ups", "words"),
    [
        (SetUps(), "Add [frames] to session.toml first."),
        (SetUps(frames_hz=(1000.0,), frames_levels=(96.0,)), "to frequencies_hz of [frames] in session.toml first."),
        (SetUps(frames_hz=(125.0,), frames_levels=(101.0,)), "Raise highest_levels of [frames]"),
        (SetUps(frames_hz=(125.0,), frames_levels=(96.0,)), ""),
    ],
)
def test_what_the_plan_lacks_for_frames_is_said(set_ups, words) -> None:
    one = found(None, set_ups=set_ups)
    assert words in one.next.first if words else one.next.first == ""
    assert one.next.text.startswith("Play frames")
    assert one.next.command == "distort measure FOLDER:main --only frames_96dB"
