"""What is said of a long heating before it sounds, and when it has."""

from collections.abc import Iterator

from distort.analysis.heating.following import STOP_DB
from distort.capture.heating.playing import HeatingPlayed
from distort.capture.heating.starting import HeatingReady, heating_bytes
from distort.capture.measuring.exposure import day_of, share_of_day
from distort.report.text.numbers import hertz_words, level_name
from distort.report.text.plan import share_words
from distort.session.files.folder import SessionFolder
from signals.long_reel import long_reel

UNATTENDED = (
    "Stay near, with hearing protection or outside the room, and never leave equipment that plays loud unattended: a "
    "driver that smells or rattles is switched off at once. Ctrl-C stops the sound."
)


def heating_sentences(ready: HeatingReady, folder: SessionFolder) -> Iterator[str]:
    """What will be played how loud and how long, what ends it, its exposure, and the size of its file."""
    yield from ready.notes
    heating, level = ready.heating, ready.name.level_db_spl
    whole_s = long_reel(heating).n_samples / heating.sample_rate
    below = f"{heating.pilot_below_db:g} dB below"
    yield (
        f"Long heating in condition {ready.condition}: the multitone of {level_name(level)} dB SPL, which "
        f"{ready.repeated.sidecar.name.stem} holds, for {heating.loud_s / 60.0:.0f} min without a break, drive "
        f"{heating.drive_dbfs:.1f} dBFS; no louder than it was recorded."
    )
    yield (
        f"  Before it and {len(heating.pilots_after_s)} times in the {(whole_s - heating.loud_s) / 60.0:.0f} min after "
        f"it the same {below}, to hear what comes back. Together {whole_s / 60.0:.0f} min."
    )
    yield f"  It ends by itself where a third octave has changed by {STOP_DB:g} dB; what was recorded is kept."
    share = share_of_day([(level, heating.n_samples / heating.sample_rate)])
    yield (
        f"  Exposure at 1 m without protection: {share_words(share)} of what NIOSH permits a day; a desk or a room "
        f"adds to it. Your local rules come first."
    )
    day = day_of(folder)
    if day is not None:
        yield f"  On {day.date} this session has sounded {share_words(day.share)} of it already; that comes on top."
    yield f"  Its file takes up to {heating_bytes(heating) / 1e6:.0f} MB."
    yield f"  {UNATTENDED}"


def played_sentences(ready: HeatingReady, played: HeatingPlayed) -> Iterator[str]:
    """What ended it, and what is kept."""
    if played.recording is None:
        yield f"{ready.condition}: nothing of it is kept, as too little was heard to read anything."
        return
    if played.changed is not None:
        by_db, at_hz = played.changed
        yield (
            f"{ready.condition}: ended by itself, because the third octave about {hertz_words(at_hz)} had changed by "
            f"{by_db:+.1f} dB."
        )
    if played.broken_off is not None:
        yield f"{ready.condition}: broken off; the first {played.loud_s:.0f} s of the loud multitone are kept."
