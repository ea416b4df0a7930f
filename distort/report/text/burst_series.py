"""What is said of a burst series: before it sounds, after it, and of the next file for a player."""

import math
from collections.abc import Iterator, Sequence

from distort.analysis.burst_series.steps import FINE_DB, INPUT, LEAST_REST_S, MICROPHONE, REFERENCES, STEP_DB, Band
from distort.analysis.common.burst_limits import BurstLimits
from distort.capture.bursts.duration import AtMost
from distort.capture.bursts.next_file import NextFile
from distort.capture.bursts.playing import BurstsPlayed
from distort.capture.bursts.starting import BurstsReady
from distort.report.text.burst import ENDED_WORDS
from distort.report.text.numbers import hertz_words, level_name
from distort.report.text.plan import share_words
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import burst_limits
from signals.burst import PEAK_OVER_RMS_DB, BurstSeries

KEPT_WORDS = {
    **ENDED_WORDS,
    MICROPHONE: "what the microphone stands ([microphone] max_db_spl)",
    INPUT: "the microphone's input, 1 dB below clipping",
    "ceiling": "the ceiling",
    "drive": "the highest drive ([safety] max_drive_dbfs)",
}
"""What keeps a band from more, within a sentence."""


def series_sentences(ready: BurstsReady, plan: Plan) -> Iterator[str]:
    """What the series will play, how loud and how long at most; or that every band has ended."""
    condition = ready.ready.choice.condition
    yield from ready.ready.notes
    if ready.most is None:
        yield f"{condition}: every band of the burst series has ended; there is nothing more to play."
        return
    yield f"Burst series in condition {condition}: {bands_words(ready.series.whole)}."
    yield from rule_sentences(plan, lowest_db_spl=ready.state.lowest_db_spl)
    yield from at_most_sentences(ready.most, plan)
    kept = [band for band in ready.state.bands if band.top_by in (MICROPHONE, INPUT)]
    if kept:
        yield (
            f"  {_bands_count(kept)} cannot go up to the ceiling: {KEPT_WORDS[kept[0].top_by]}, keeps "
            f"{'them' if len(kept) > 1 else 'it'} lower."
        )


def bands_words(series: BurstSeries) -> str:
    """How many bands, from where to where."""
    low, high = hertz_words(series.bands_hz[0]), hertz_words(series.bands_hz[-1])
    return f"{len(series.bands_hz)} third octaves from {low} to {high}, {series.periods:g} periods each, lowest first"


def rule_sentences(plan: Plan, *, lowest_db_spl: float) -> Iterator[str]:
    """How it goes up, and what ends a band."""
    limits = burst_limits(plan)
    yield (
        f"  {REFERENCES} recordings at {level_name(lowest_db_spl)} dB SPL, then {STEP_DB:g} dB up at a time, "
        f"{FINE_DB:g} dB near a limit. Each recording is judged before the next; a band that has ended is left out."
    )
    yield (
        f"  A band ends at {limits.compression_db:g} dB of compression, at {_orders_words(limits)}, at a peak of "
        f"{limits.ceiling_db_peak:.1f} dB SPL at 1 m, or at a drive of {limits.max_drive_dbfs:g} dBFS."
    )
    over_db = limits.ceiling_db_peak - PEAK_OVER_RMS_DB - plan.safety.ceiling_db_spl
    if over_db > 0.0:
        yield (
            f"  Careful: [burst] ceiling_db_peak lets bursts be {over_db:.1f} dB louder than [safety] ceiling_db_spl, "
            f"which everything else is held to."
        )


def at_most_sentences(most: AtMost, plan: Plan) -> Iterator[str]:
    """How long it takes where nothing is near a limit, and the most that can come of it: time, level, exposure."""
    yield (
        f"  {most.ordinary_recordings} recordings in {math.ceil(most.ordinary_seconds / 60.0)} min with rests where no "
        f"band is near a limit; at most {most.recordings} in {math.ceil(most.seconds / 60.0)} min: it stops before it "
        f"takes longer."
    )
    limits = burst_limits(plan)
    yield (
        f"  Up to {level_name(most.level_db_spl)} dB SPL nominal, drive {most.drive_dbfs:.1f} dBFS; no peak above "
        f"{limits.ceiling_db_peak:.1f} dB SPL at 1 m is expected."
    )
    yield (
        f"  Exposure at 1 m without protection: at most {share_words(most.share_of_day)} of what NIOSH permits a day; "
        f"a desk or a room adds to it. Your local rules come first."
    )


def played_sentences(condition: str, played: BurstsPlayed) -> Iterator[str]:
    """What came of it, and why it ended early where it did."""
    if played.out_of_time:
        yield (
            f"{condition}: recordings had to be repeated, and the time that was stated is used up. The same command "
            f"goes on."
        )
        return
    passed = sum(1 for band in played.bands if band.failed_db_spl is not None)
    unheard = sum(1 for band in played.bands if band.unheard)
    kept = [band for band in played.bands if band.failed_db_spl is None and not band.unheard]
    parts = [f"{passed} met a limit of compression or distortion"] if passed else []
    parts += [f"{unheard} stood in noise at the lowest level"] if unheard else []
    for by in dict.fromkeys(band.top_by for band in kept):
        count = sum(1 for band in kept if band.top_by == by)
        parts.append(f"{count} {'was' if count == 1 else 'were'} kept by {KEPT_WORDS[by]}")
    yield f"{condition}: all {len(played.bands)} bands have ended: {'; '.join(parts)}."


def next_file_sentences(made: NextFile, plan: Plan, *, folder: str, condition: str) -> Iterator[str]:
    """The file that was written, how to play it, and what comes then; or that every band has ended."""
    flag = f" --condition {condition}" if len(plan.setup.conditions) > 1 else ""
    if made.item is None:
        yield (
            f"{condition}: every band of the burst series has ended. Next: distort analyze {folder}, then distort show "
            f"{folder} burst"
        )
        return
    item, missing = made.item, REFERENCES - made.references
    first = made.references == 0
    if first:
        yield f"Burst series in condition {condition}: {bands_words(made.whole)}."
        yield from rule_sentences(plan, lowest_db_spl=item.level_db_spl)
        if made.most is not None:
            yield from at_most_sentences(made.most, plan)
    seconds = item.reel.n_samples / item.reel.sample_rate
    loudest = "" if made.peak_db is None else f", loudest peak about {made.peak_db:.1f} dB SPL at 1 m"
    yield (
        f"{item.stem}.wav: {made.bursts} {'burst' if made.bursts == 1 else 'bursts'}, {seconds:.0f} s, drive "
        f"{item.stimulus.drive_dbfs:.1f} dBFS{loudest}."
    )
    added = f"distort add {folder} RECORDING --stimulus burst --level {level_name(item.level_db_spl)}{flag} "
    added += "--playback-change-db 0"
    rest_s = max(made.rest_s, LEAST_REST_S)
    if missing > 0:
        times = "once" if missing == 1 else f"{missing} times, each a recording of its own"
        yield (
            f"Play it {times}, with {rest_s:.0f} s of rest between, at the volume of the level series, and bring "
            f"{'it' if missing == 1 else 'each'} in: {added}"
        )
    else:
        yield f"Let the loudspeaker rest for {rest_s:.0f} s, play it once at the same volume, and: {added}"
    yield f"The louder file is written after that: distort stimuli {folder} --next-burst{flag}"


def _orders_words(limits: BurstLimits) -> str:
    """H2 -10, H3 -15, H4 and above -30 dB."""
    last = len(limits.orders_db) + 1
    parts = [
        f"H{order}{' and above' if order == last else ''} {limit:g}"
        for order, limit in enumerate(limits.orders_db, start=2)
    ]
    return f"{', '.join(parts)} dB re the fundamental"


def _bands_count(bands: Sequence[Band]) -> str:
    return "1 band" if len(bands) == 1 else f"{len(bands)} bands"
