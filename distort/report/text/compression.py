"""What a ladder of levels says, in sentences that need no manual."""

import math
from collections.abc import Sequence
from itertools import groupby

from distort.analysis.common.grid import OCTAVE_RATIO, band_edges_hz
from distort.analysis.compression.coil_heating import coil_rise_k
from distort.analysis.compression.curves import BandRange, HighestLevel, OctaveLevels, Onset
from distort.analysis.compression.operating_range import FINE_STEP_DB
from distort.analysis.compression.sweep_lag import ACCEPTED_LAG_DB
from distort.analysis.multitone.settling import Settling
from distort.report.text.multitone import seconds, warm_up_lines
from distort.report.text.numbers import hertz_words, level_name, octave_words, two_digits_hertz, with_interval
from distort.session.results.ladder_results import CompressionFound
from distort.session.results.multitone_results import MultitoneFound

LEAST_DRIFT_DB = 0.05
"""Printed with one decimal, a smaller drift is none."""

ALIKE_DB, ALIKE_SHARE = 0.5, 0.25
"""Neighbouring octaves share a sentence where their changes at the loudest level differ by at most so much, or by a
quarter of the larger."""

HARDLY_LESS = 0.8
"""A last step of which more than this share came out is not worth a word of its own."""

Band = tuple[BandRange, OctaveLevels]


def limit_word(limit: HighestLevel) -> str:
    """The highest level that keeps a limit: a number, or on which side of the ladder it lies."""
    if limit.level_db_spl is not None:
        return f"{limit.level_db_spl:.1f}"
    if limit.verdict == "kept to the last" and limit.kept_at_db_spl is not None:
        return f"> {level_name(limit.kept_at_db_spl)}"
    if limit.verdict == "exceeded at the first" and limit.exceeded_at_db_spl is not None:
        return f"< {level_name(limit.exceeded_at_db_spl)}"
    return "-"


def onset_words(onset: Onset) -> str:
    """Where a band leaves the straight line: a number, or the two steps between which it does."""
    if onset.level_db_spl is None:
        return f"between {level_name(onset.above_db_spl)} and {level_name(onset.up_to_db_spl)} dB"
    return f"at {onset.level_db_spl:.1f} dB"


def range_sentences(found: CompressionFound) -> list[str]:
    """One sentence for neighbouring octaves that do the same, limiting first and what is in order last."""
    return [_sentence(run, found) for run in _ordered_runs(found)]


def range_clauses(found: CompressionFound) -> str:
    """The same in a few words, without what is in order: "gradual compression by up to 1.8 dB (22 Hz to 45 Hz)"."""
    clauses = []
    for word, runs in groupby(_ordered_runs(found), key=lambda run: run[0][0].word):
        if word in ("linear", "unknown"):
            continue
        amounts = []
        for run in runs:
            low, high = _edges(run)
            flat = f", flat from {_flat_from(run, found)} up" if word == "limiting" else ""
            amounts.append(f"{_largest(run, found)[0]:.1f} dB ({low} to {high}{flat})")
        clauses.append(f"{word} by up to {', '.join(amounts)}")
    if not clauses and all(band.word in ("unknown", "reference") for band in found.ranges):
        return "the uncertainty is not known, so nothing can be said"
    return "; ".join(clauses) or "nothing beyond the uncertainty"


def _ordered_runs(found: CompressionFound) -> list[list[Band]]:
    order = ("limiting", "gradual compression", "expansion", "linear", "unknown")
    runs = _runs(list(zip(found.ranges, found.octaves, strict=True)))
    return sorted(runs, key=lambda run: order.index(run[0][0].word))


def heating_sentences(found: CompressionFound, multitones: Sequence[MultitoneFound]) -> list[str]:
    """How far the loudspeaker heats, and what the repeats of the reference level say about it and about drift."""
    sentences = []
    if found.includes_heating:
        sentences.append(
            "These changes include heating: the voice coil warms while it plays, and within one level that cannot be "
            "told from other compression."
        )
    if found.source == "multitone":
        sentences += _warming(multitones)
    return [*sentences, *_repeat_sentences(found)]


def lag_sentences(found: CompressionFound) -> list[str]:
    """How far the sweep's speed moves the change, and how long a sweep would have to be."""
    if found.source != "sweep":
        return []
    if not found.lags:
        return ["No short sweep was played, so how far the sweep lags a limiter is not known."]
    worst = max(found.lags, key=lambda lag: abs(lag.lag_db))
    sentences = []
    if worst.frequency_hz is not None and abs(worst.lag_db) > ACCEPTED_LAG_DB:
        needed_s = max(lag.needed_s for lag in found.lags)
        sentences.append(
            f"The sweep moves too fast for the limiter to follow: its change is off by up to "
            f"{with_interval(abs(worst.lag_db), worst.uncertainty_db)} dB (at {level_name(worst.level_db_spl)} dB SPL, "
            f"{hertz_words(worst.frequency_hz)}). A sweep of {needed_s:.0f} s would bring that under "
            f"{ACCEPTED_LAG_DB:g} dB."
        )
    else:
        sentences.append(f"The sweep is slow enough: its lag stays under {ACCEPTED_LAG_DB:g} dB at every level.")
    other = max(found.lags, key=lambda lag: abs(lag.other_db))
    if other.other_hz is not None and abs(other.other_db) > ACCEPTED_LAG_DB:
        sentences.append(
            f"At {level_name(other.level_db_spl)} dB SPL the short sweep reads {abs(other.other_db):.2f} dB "
            f"{'more' if other.other_db > 0 else 'less'} near {hertz_words(other.other_hz)}, and not for its speed: it "
            f"heats the coil less, or something drifted between the two."
        )
    return sentences


def _runs(bands: Sequence[Band]) -> list[list[Band]]:
    """Neighbouring octaves that do the same by about as much; an octave that is missing between two parts them."""
    runs: list[list[Band]] = []
    for band in bands:
        if runs and _alike(runs[-1][-1], band):
            runs[-1].append(band)
        else:
            runs.append([band])
    return runs


def _alike(band: Band, following: Band) -> bool:
    (one, _), (other, _) = band, following
    if one.word != other.word or other.midband_hz > 1.5 * OCTAVE_RATIO * one.midband_hz:
        return False
    if one.word in ("linear", "unknown"):
        return True
    last, next_last = (shown_changes(*each)[-1] for each in (band, following))
    if last is None or next_last is None:
        return last is next_last
    return abs(last - next_last) <= max(ALIKE_DB, ALIKE_SHARE * max(abs(last), abs(next_last)))


def _sentence(run: Sequence[Band], found: CompressionFound) -> str:
    where, word = _where(run), run[0][0].word
    if word == "linear":
        return f"{where} it stays linear up to {level_name(found.level_db_spl[-1])} dB SPL, within the uncertainty."
    if word == "unknown":
        return f"{where} nothing can be said: the noise is not known, or there is no reading."
    change_db, level_db_spl, midband_hz = _largest(run, found)
    most = f"{change_db:.1f} dB {'above' if word == 'expansion' else 'below'} linear"
    place = f"({octave_words(midband_hz)})"
    if word == "limiting":
        return (
            f"{where} it limits: from {_flat_from(run, found)} up the output hardly rises, and at "
            f"{level_name(level_db_spl)} dB SPL it is up to {most} {place}. It begins to compress {_onset(run)}."
        )
    does = "compresses gradually" if word == "gradual compression" else "expands"
    at = f"at {level_name(level_db_spl)} dB SPL {place}"
    return f"{where} it {does}, beginning {_onset(run)}: up to {most} {at}{_last_step(run, found)}."


def _last_step(run: Sequence[Band], found: CompressionFound) -> str:
    """How much of the last step of drive came out, where that is much less than all of it."""
    step_db = found.drive_dbfs[-1] - found.drive_dbfs[-2]
    rises_db = []
    for band, octave in run:
        before, last = shown_changes(band, octave)[-2:]
        if before is not None and last is not None:
            rises_db.append(step_db + last - before)
    if not rises_db or min(rises_db) > HARDLY_LESS * step_db:
        return ""
    if min(rises_db) < 0:
        return f"; the last {step_db:.1f} dB step even lowered the output by {-min(rises_db):.1f} dB"
    return f"; the last {step_db:.1f} dB step raised the output by only {min(rises_db):.1f} dB"


def _flat_from(run: Sequence[Band], found: CompressionFound) -> str:
    """The level above which a limiting band rises by under 0.2 dB per dB of drive."""
    firsts = [found.level_db_spl[band.words.index("limiting")] for band, _ in run]
    low, high = level_name(min(firsts)), level_name(max(firsts))
    return f"{low} dB SPL" if low == high else f"{low} to {high} dB SPL (depending on frequency)"


def _where(run: Sequence[Band]) -> str:
    low, high = _edges(run)
    return f"Between about {low} and {high}"


def _edges(run: Sequence[Band]) -> tuple[str, str]:
    """Ends of a run in words: an octave's edge is no sharp border, so two digits say enough."""
    low_hz, high_hz = band_edges_hz([run[0][0].midband_hz, run[-1][0].midband_hz], bands_per_octave=1)
    return two_digits_hertz(float(low_hz[0])), two_digits_hertz(float(high_hz[1]))


def _onset(run: Sequence[Band]) -> str:
    """Where the octave of the run begins that begins first."""
    onsets = [band.onset for band, _ in run if band.onset is not None]
    if not onsets:
        return "at a level between two that are linear"
    first = min(onsets, key=lambda onset: (onset.up_to_db_spl, onset.level_db_spl or onset.above_db_spl))
    alike = len({onset_words(onset) for onset in onsets}) == 1
    return f"{onset_words(first)} SPL{'' if alike else ' at the earliest'}"


def _largest(run: Sequence[Band], found: CompressionFound) -> tuple[float, float, float]:
    """The largest change of the run in the direction of its word (dB), its level (dB SPL) and octave (Hz)."""
    sign = 1.0 if run[0][0].word == "expansion" else -1.0
    return max(
        (sign * change_db, level_db_spl, octave.midband_hz)
        for band, octave in run
        for change_db, level_db_spl in zip(shown_changes(band, octave), found.level_db_spl, strict=True)
        if change_db is not None
    )


def shown_changes(band: BandRange, octave: OctaveLevels) -> tuple[float | None, ...]:
    """The changes that the band's words stand on, one a level."""
    return octave.corrected_db if band.basis == "corrected" else octave.change_db


def limiter_sentences(multitones: Sequence[MultitoneFound]) -> list[str]:
    """Where a limiter comes in, and from which level, as the beginnings of the multitones show it."""
    ordered = sorted(multitones, key=lambda one: one.level_db_spl)
    first = next((place for place, one in enumerate(ordered) if _limited(one)), None)
    if first is None:
        return []
    found = ordered[first]
    below = f"between {level_name(ordered[first - 1].level_db_spl)} and " if first > 0 else "at or below "
    deepest = min(_limited(found), key=lambda one: one.depth_db)
    where = " and ".join(f"{hertz_words(low)} to {hertz_words(high)}" for low, high in _joined(_limited(found)))
    return [
        f"A limiter engages {below}{level_name(found.level_db_spl)} dB SPL ({where}): at "
        f"{level_name(found.level_db_spl)} dB SPL the multitone overshot by "
        f"{with_interval(abs(deepest.depth_db), deepest.uncertainty_db)} dB, then settled with a time constant "
        f"of {seconds(deepest.time_constant_s)}."
    ]


def _limited(found: MultitoneFound) -> list[Settling]:
    return [one for one in found.attack if one.depth_db < 0]


def _joined(bands: Sequence[Settling]) -> list[tuple[float, float]]:
    """Bands of frequency, those that touch put together."""
    spans: list[tuple[float, float]] = []
    for one in sorted(bands, key=lambda band: band.low_hz):
        if spans and one.low_hz <= 1.01 * spans[-1][1]:
            spans[-1] = (spans[-1][0], max(spans[-1][1], one.high_hz))
        else:
            spans.append((one.low_hz, one.high_hz))
    return spans


def _warming(multitones: Sequence[MultitoneFound]) -> list[str]:
    """The loudest multitone during which a level moved slowly, and how warm a coil would be that did it."""
    moved = [one for one in multitones if one.warm_up]
    if not moved:
        return ["No band changed its level measurably while the multitones played."] if multitones else []
    loudest = max(moved, key=lambda one: one.level_db_spl)
    sentences = warm_up_lines(loudest, what=f"the multitone at {level_name(loudest.level_db_spl)} dB SPL")
    falling = [one for one in loudest.warm_up if one.depth_db < 0]
    if falling:
        deepest = min(falling, key=lambda one: one.depth_db)
        sentences.append(
            f"If voice-coil heating alone made these {abs(deepest.depth_db):.1f} dB: "
            f"+{float(coil_rise_k(deepest.depth_db)):.0f} K (copper on a voltage source; more near a resonance)."
        )
    return sentences


def _repeat_sentences(found: CompressionFound) -> list[str]:
    level = f"The {found.source} at {level_name(found.level_db_spl[0])} dB SPL"
    if found.repeated == "no":
        return [f"{level} was not played again after the others, so neither drift nor residual heating is known."]
    sentences = []
    if found.repeated in ("hot", "hot and rested"):
        hot = [(one.heating_db, one.heating_uncertainty_db, one.midband_hz) for one in found.octaves]
        sentences.append(
            f"{level}, played again at once, {_moved(hot)}. That loss is residual heating (or a slow release); "
            f"it is never subtracted."
        )
    if found.repeated in ("rested", "hot and rested"):
        rested = [(one.drift_db, one.drift_uncertainty_db, one.midband_hz) for one in found.octaves]
        sentences.append(
            f"{level}, played again after a rest, {_moved(rested)}. What it moved then is drift of microphone, air or "
            f"electronics, or heat that the rest did not take away."
        )
    return sentences


def _moved(octaves: Sequence[tuple[float | None, float | None, float]]) -> str:
    """By how much a repeat of the reference read differently, in the octave where it did most."""
    known = [(change, within, midband_hz) for change, within, midband_hz in octaves if change is not None]
    change_db, within_db, midband_hz = max(known, key=lambda one: abs(one[0]), default=(0.0, None, 0.0))
    if abs(change_db) < LEAST_DRIFT_DB:
        return f"read the same as before within {LEAST_DRIFT_DB:g} dB"
    amount = f"{abs(change_db):.2f}" if within_db is None else with_interval(abs(change_db), within_db)
    return f"read up to {amount} dB {'more' if change_db > 0 else 'less'} than before ({octave_words(midband_hz)})"


def closer_sentences(found: CompressionFound) -> list[str]:
    """What smaller steps would tell, where the steps are too large to name a limiter or to state an onset."""
    levels = found.level_db_spl
    brackets = [band.onset for band in found.ranges if band.onset is not None and band.onset.level_db_spl is None]
    if not brackets or any(band.word == "limiting" for band in found.ranges):
        return []
    steps = math.floor((levels[-1] - max(onset.above_db_spl for onset in brackets)) / FINE_STEP_DB)
    closer = (levels[0], *(levels[-1] - step * FINE_STEP_DB for step in range(steps, -1, -1)))
    listed = ",".join(level_name(level) for level in dict.fromkeys(closer))
    return [
        f"Steps as large as these only bracket where it begins, and cannot tell a limiter from gradual compression. "
        f"Smaller ones can: distort new CLOSER --levels {listed}"
    ]
