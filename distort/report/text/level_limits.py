"""Up to which level a loudspeaker holds its limits, and what ends it, in a sentence a stimulus."""

from collections.abc import Iterator, Mapping

from distort.analysis.common.operating_limit import Limits
from distort.analysis.level_limits import BROAD_BANDS, LevelLimit, LevelStimulus, Passed
from distort.report.text.numbers import level_name, two_digits, two_digits_hertz
from distort.session.results.condition_results import ConditionResults

BY: Mapping[LevelStimulus, str] = {"multitone": "many tones", "programme": "music"}


def limit_sentences(results: ConditionResults) -> Iterator[str]:
    """The operating limit as each stimulus has it; nothing where none can be judged."""
    yield from map(limit_sentence, results.findings.level_limits)


def limit_sentence(found: LevelLimit) -> str:
    """What was played, the highest level within the limits, and what is beyond them at the next one."""
    by = f"{BY[found.stimulus]}: within its limits"
    by = by[0].upper() + by[1:]
    if found.ended_at_db_spl is None:
        return f"{by} up to {level_name(found.up_to_db_spl or 0.0)} dB SPL, the highest level played."
    at, passed = level_name(found.ended_at_db_spl), ended_words(found.passed[0])
    if found.up_to_db_spl is None:
        return f"{by} at no level, not even at {at} dB SPL ({passed})."
    return f"{by} at {level_name(found.up_to_db_spl)} dB SPL, not at {at} ({passed}); no level between was played."


def ended_words(one: Passed) -> str:
    """Which limit was passed, where, and by what: "3.4 dB of compression at 63 Hz"."""
    at = "" if one.frequency_hz is None else f" at {two_digits_hertz(one.frequency_hz)}"
    if one.limit == "change":
        return f"{abs(one.value):.1f} dB of {'compression' if one.value < 0.0 else 'expansion'}{at}"
    if one.limit == "broad-change":
        return f"{one.value:.1f} dB of change over two octaves{at.replace(' at ', ' around ')}"
    if one.limit == "coherence":
        return f"coherence {one.value:.2f}{at}"
    return f"{two_digits(one.value)} % of distortion"


def rule_words(limits: Limits, stimulus: LevelStimulus) -> str:
    """What must hold, within brackets or as part of a sentence."""
    words = (
        f"coherence {limits.coherence:g} or more, no third octave changed by over {limits.change_db:g} dB, no "
        f"{BROAD_BANDS / 3:g} octaves by over {limits.broad_change_db:g} dB"
    )
    return f"{words}, distortion {limits.distortion_percent:g} % at most" if stimulus == "multitone" else words


def rule_sentences(results: ConditionResults) -> Iterator[str]:
    """What the limits are and how much of the band was judged; nothing where none is stated."""
    for one in results.findings.level_limits:
        yield (
            f"Limits by {BY[one.stimulus]}: {rule_words(one.limits, one.stimulus)}; judged in {one.judged} of "
            f"{one.bands} third octaves. They stand in [limits] of session.toml."
        )
