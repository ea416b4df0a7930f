"""The operating limit as one number: what holds, what ends it, and what is said of it; every edge from both sides."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.operating_limit import Limits
from distort.analysis.level_limits import LevelBands, Passed, level_limit, passed_by
from distort.report.text.level_limits import ended_words, limit_sentence, rule_words

LIMITS = Limits()
HZ = 1000.0 * 10.0 ** (np.arange(12) / 10.0)


def level(
    level_db_spl: float, *, change_db: float = 0.0, coherence: float = 1.0, percent: float | None = None
) -> LevelBands:
    one = np.ones(12)
    return LevelBands(
        level_db_spl=level_db_spl,
        frequency_hz=HZ,
        change_db=change_db * one,
        coherence=coherence * one,
        counts=np.ones(12, dtype=bool),
        distortion_percent=percent,
    )


@pytest.mark.parametrize(
    ("levels", "up_to", "ended"),
    [
        ((level(86.0), level(96.0)), 96.0, None),
        ((level(86.0), level(96.0, change_db=-2.1)), 86.0, 96.0),
        ((level(86.0), level(96.0, change_db=-1.9)), 96.0, None),
        ((level(86.0), level(96.0, change_db=2.1)), 86.0, 96.0),
        ((level(86.0), level(96.0, coherence=0.89)), 86.0, 96.0),
        ((level(86.0), level(96.0, coherence=0.91)), 96.0, None),
        ((level(86.0, percent=9.9), level(96.0, percent=10.1)), 86.0, 96.0),
        ((level(86.0, coherence=0.89), level(96.0)), None, 86.0),
        ((level(86.0), level(91.0, change_db=np.nan), level(96.0, coherence=0.5)), 86.0, None),
    ],
)
def test_the_highest_level_that_holds_has_none_below_that_fails(levels, up_to, ended) -> None:
    found = level_limit("multitone", levels, LIMITS)
    assert found is not None
    assert (found.up_to_db_spl, found.ended_at_db_spl) == (up_to, ended)


def test_what_cannot_be_judged_has_no_limit() -> None:
    assert level_limit("multitone", [level(86.0, change_db=np.nan), level(96.0)], LIMITS) is None
    assert level_limit("multitone", [], LIMITS) is None
    assert passed_by(replace(level(86.0), counts=np.zeros(12, dtype=bool)), LIMITS) is None


def test_one_third_octave_may_change_by_three_decibels() -> None:
    narrow = np.zeros(12)
    narrow[5] = -2.9
    assert passed_by(replace(level(96.0), change_db=narrow), LIMITS) == ()
    narrow[5] = -3.1
    (passed,) = passed_by(replace(level(96.0), change_db=narrow), LIMITS) or ()
    assert (passed.limit, passed.value, passed.frequency_hz) == ("change", -3.1, HZ[5])


def test_two_octaves_may_change_by_two_decibels_on_average() -> None:
    """Six bands of 2.1 dB among ones of 0 are met by one window alone, whose middle lies between the third and the
    fourth."""
    broad = np.zeros(12)
    broad[3:9] = 2.1
    (passed,) = passed_by(replace(level(96.0), change_db=broad), LIMITS) or ()
    assert passed.limit == "broad-change"
    assert passed.value == pytest.approx(2.1)
    assert passed.frequency_hz == pytest.approx(np.sqrt(HZ[5] * HZ[6]))


def test_third_octaves_that_do_not_count_neither_fail_nor_hold_a_level() -> None:
    """Of two octaves of which one half counts, and has changed by 2.5 dB, the mean is 2.5 dB and not 1.25."""
    changed = level(96.0, change_db=-2.5)
    assert passed_by(replace(changed, counts=np.arange(12) % 2 == 0), LIMITS) == ()  # three of six: too few
    (passed,) = passed_by(replace(changed, counts=np.arange(12) % 3 < 2), LIMITS) or ()
    assert passed.value == pytest.approx(2.5)
    found = level_limit("multitone", [replace(changed, counts=np.arange(12) % 3 < 2)], LIMITS)
    assert found is not None
    assert (found.judged, found.bands) == (8, 12)


def test_what_passes_its_limit_by_most_is_named_first() -> None:
    """Change 4 / 3 = 1.33 times, two octaves 4 / 2 = 2 times, coherence 0.3 / 0.1 = 3 times, distortion 25 / 10 = 2.5
    times its limit."""
    found = passed_by(level(96.0, change_db=-4.0, coherence=0.7, percent=25.0), LIMITS)
    assert [one.limit for one in found or ()] == ["coherence", "distortion", "broad-change", "change"]


def test_limits_are_those_of_the_plan() -> None:
    strict = Limits(change_db=1.0, broad_change_db=1.0, coherence=0.99, distortion_percent=1.0)
    found = passed_by(level(96.0, change_db=-1.5, coherence=0.98, percent=2.0), strict)
    assert {one.limit for one in found or ()} == {"coherence", "distortion", "broad-change", "change"}


def passed(limit: str, value: float, frequency_hz: float | None = 63.1) -> Passed:
    return Passed(limit=limit, value=value, frequency_hz=frequency_hz)


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (passed("change", -3.41), "3.4 dB of compression at 63 Hz"),
        (passed("change", 3.41), "3.4 dB of expansion at 63 Hz"),
        (passed("broad-change", 2.3), "2.3 dB of change over two octaves around 63 Hz"),
        (passed("coherence", 0.824), "coherence 0.82 at 63 Hz"),
        (passed("distortion", 12.4, None), "12 % of distortion"),
    ],
)
def test_what_ended_it_is_named_with_place_and_value(one, words) -> None:
    assert ended_words(one) == words


def test_a_sentence_says_up_to_where_and_what_ends_it() -> None:
    found = level_limit("multitone", [level(91.0), level(96.0, percent=12.4)], LIMITS)
    assert found is not None
    assert limit_sentence(found) == (
        "Many tones: within its limits at 91 dB SPL, not at 96 (12 % of distortion); no level between was played."
    )
    assert limit_sentence(replace(found, ended_at_db_spl=None, passed=())) == (
        "Many tones: within its limits up to 91 dB SPL, the highest level played."
    )
    assert limit_sentence(replace(found, stimulus="programme", up_to_db_spl=None)) == (
        "Music: within its limits at no level, not even at 96 dB SPL (12 % of distortion)."
    )


def test_the_rule_names_every_limit_that_is_asked_for() -> None:
    assert "distortion 10 %" in rule_words(LIMITS, "multitone")
    assert "distortion" not in rule_words(LIMITS, "programme")
    assert "no 2 octaves by over 2 dB" in rule_words(LIMITS, "programme")
