"""What the sounds of `distort hear` are, how loud the remainder is, whether it may be heard, and what to mind."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np

from distort.analysis.heard import PARTS, HeardParts
from distort.analysis.hearing.over_masked import OverMasked
from distort.report.text.licence import NO_LICENCE
from distort.report.text.numbers import hertz_words, level_name
from distort.report.text.simulated import SIMULATED_WORDS
from distort.session.plan.licences import may_be_shared
from distort.session.results.heard_files import DELIVERED, INTENDED, NO_COMPRESSION, NO_DISTORTION, REMAINDER, Heard
from signals.levels import power_to_db

FILE_WORDS = {
    INTENDED: "as meant: as the loudspeaker plays it at the quiet level, but for the level",
    DELIVERED: "as it comes out",
    REMAINDER: "what was added or taken away: the difference of the two",
    NO_DISTORTION: "as it comes out, but for what was added",
    NO_COMPRESSION: "as it comes out, but for the change from moment to moment",
}

CHANGES = (
    "Masking is about sound beside the music. A change of its level by 1 dB or more may be heard even where that says "
    "it is masked (common practice, no source)."
)

CAUTION = (
    "Turn the volume down before you listen, and raise it with the music as meant: nobody knows how loud your player "
    "is, and loud sound harms hearing for good."
)


def level_words(record: Heard) -> str:
    """Its nominal level."""
    return f"{level_name(record.level_db_spl)} dB SPL"


def source_words(record: Heard) -> str:
    """Whether it was recorded, and against which level."""
    if record.quiet_db_spl is None:
        return record.source
    return f"{record.source}, held against {level_name(record.quiet_db_spl)} dB SPL"


def tags_of(record: Heard) -> Mapping[str, str]:
    """What players show of each sound."""
    where = f"{record.loudspeaker}, {record.condition}, {level_words(record)}, {record.source}"
    simulated = f"{SIMULATED_WORDS}. " if record.simulated else ""
    tags = {"title": where, "artist": record.credit, "copyright": record.licence}
    return {**{name: said for name, said in tags.items() if said}, "comment": f"{simulated}{_sentence(record)}"}


def heard_sentences(record: Heard, parts: HeardParts, masked: OverMasked) -> Iterator[str]:
    """Whose sounds these are, what became of the music, and how much of that is masked."""
    yield f"{record.loudspeaker}, condition {record.condition}, music at {level_words(record)}"
    if record.simulated:
        yield f"{SIMULATED_WORDS}."
    yield _sentence(record)
    yield ""
    if len(record.silent) == len(PARTS):
        yield "Nothing of the remainder stands above its floor: the loudspeaker does the same at both levels."
    else:
        yield _remainder(record, parts)
        yield _masked(record, masked)
        if np.any(parts.linear) or np.any(parts.compression):
            yield CHANGES
    if record.quiet_db_spl is not None:
        yield f"What the loudspeaker does at {level_name(record.quiet_db_spl)} dB SPL already is in both, so not in it."


def _sentence(record: Heard) -> str:
    if record.quiet_db_spl is None:
        return f"Synthesised from sweeps at {level_words(record)}: a likeness, not the waveform."
    return (
        f"Recorded at {level_words(record)} (nominal, at 1 m), held against the recording at "
        f"{level_name(record.quiet_db_spl)} dB SPL."
    )


def _remainder(record: Heard, parts: HeardParts) -> str:
    """Its level and that of each part; silent parts by their word."""
    whole = float(np.mean(np.square(parts.intended)))

    def relative(sound: np.ndarray) -> str:
        return f"{float(power_to_db(np.mean(np.square(sound)) / whole)):.0f} dB"

    each = dict(zip(PARTS, (parts.linear, parts.compression, parts.distortion), strict=True))
    if record.quiet_db_spl is None:  # of sweeps all change is in the response of each moment's level
        del each[PARTS[0]]
    named = [f"{name} {relative(sound) if np.any(sound) else 'below its floor'}" for name, sound in each.items()]
    return f"The remainder lies at {relative(parts.remainder)} re the music: {', '.join(named)}."


def _masked(record: Heard, masked: OverMasked) -> str:
    over_db, at_hz, at_s = masked.highest
    known = (
        "" if record.full_scale_db_spl is not None else ", the threshold of hearing left out for want of a calibration"
    )
    if over_db <= 0.0:
        nearest = (
            f"; it comes nearest to standing out near {hertz_words(at_hz)} at {at_s:.1f} s, {-over_db:.0f} dB below"
            if np.isfinite(over_db)
            else ""
        )
        return f"The music masks all of it, by one of two models of masking at least{known}{nearest}."
    return (
        f"It stands above what the music masks, by both of two models of masking, in {_share(masked.share_above)} of "
        f"the time, by up to {over_db:.0f} dB (near {hertz_words(at_hz)}, at {at_s:.1f} s){known}."
    )


def _share(share: float) -> str:
    """In per cent; a share that is not nothing is never called 0 %."""
    return f"{100.0 * share:.0f} %" if share >= 0.005 else "under 1 %"


def file_sentences(record: Heard, folder: Path) -> Iterator[str]:
    """Every file with what it is."""
    yield f"In {folder}:"
    for sound in record.sounds:
        words = f"the same, {sound.raised_db:g} dB louder" if sound.raised_db else _file_words(record, sound.part)
        yield f"  {sound.file}: {words}"
    for figure in record.figures:
        yield f"  {figure.file}: music, remainder, and what of it is not masked"


def _file_words(record: Heard, part: str) -> str:
    synthesised = record.quiet_db_spl is None and part == INTENDED
    return "as meant: as the quietest sweep has the loudspeaker, but for the level" if synthesised else FILE_WORDS[part]


def caution_sentences(records: Sequence[Heard]) -> Iterator[str]:
    """What to mind before one listens, and where the sounds may go."""
    yield CAUTION
    if not all(may_be_shared(one.licence, one.credit) for one in records):
        yield f"These sounds, and a blind test that plays them, stay in the session: {NO_LICENCE}."
