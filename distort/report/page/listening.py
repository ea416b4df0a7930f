"""The page's short version of listening: one pair and what stands between them, three plays, and the test's place."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.analysis.hearing.loudness import integrated_lkfs
from distort.report.page.downloads import data_address
from distort.report.text.blind import PAIR_WORDS, TURN_DOWN, made_words, music_words, play_names
from distort.session.audio.audio_file import read_audio
from distort.session.audio.embedded import flac_bytes
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.results.blind_page_file import PAGE, blind_note
from distort.session.results.going_out import may_go_out
from distort.session.results.heard_files import DELIVERED, INTENDED, REMAINDER, Heard, as_written, heard_records

FloatArray = npt.NDArray[np.float64]

EXCERPT_S = 5.0
"""Of each play: three take some 0.8 MB of the page."""


@dataclass(frozen=True, kw_only=True)
class Play:
    """A sound in the page."""

    name: str
    address: str


def played(folder: SessionFolder, plan: Plan) -> Heard | None:
    """Whose sounds stand in the page: the loudest level, recorded before synthesised; None where no music was made into
    sounds, or none that may leave the session. Raises SessionError when a file cannot be read."""
    records = [one for one in heard_records(folder) if may_go_out(one, plan) and as_written(folder, one)]
    return min(records, key=lambda one: (one.source, -one.level_db_spl, one.condition), default=None)


def short_version(folder: SessionFolder, record: Heard) -> dict[str, Any] | None:
    """What the template draws of what `played` chose: of it the part with the loudest remainder; None where one of its
    sounds lacks. Raises OSError or SessionError when a file cannot be read."""
    sounds = _excerpts(folder, record)
    if sounds is None:
        return None
    raised, test = record.sound(REMAINDER, raised=True), blind_note(folder)
    names = play_names(raised.raised_db if raised is not None else 0.0)
    return {
        "title": PAIR_WORDS["whole"].title,
        "made": made_words(record.source, record.level_db_spl, record.condition, simulated=record.simulated),
        "caution": TURN_DOWN,
        "credit": music_words(record),
        "plays": [
            Play(name=name, address=data_address("audio/flac", flac_bytes(samples, record.sample_rate)))
            for name, samples in zip(names, sounds, strict=True)
        ],
        "test": f"listening/{PAGE}" if test is not None and test.licensed else None,
    }


def _excerpts(folder: SessionFolder, record: Heard) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """As meant and as it came out, equally loud, and the remainder as loud as it was raised; None where one lacks."""
    remainder = record.sound(REMAINDER, raised=True) or record.sound(REMAINDER)
    named = (record.sound(INTENDED), record.sound(DELIVERED), remainder)
    if any(one is None for one in named):
        return None
    whole = [read_audio(folder.inside("results", "listening", one.file))[0] for one in named if one is not None]
    n = min(round(EXCERPT_S * record.sample_rate), whole[0].size)
    energy = np.concatenate([[0.0], np.cumsum(np.square(whole[2]))])
    begin = int(np.argmax(energy[n:] - energy[: energy.size - n]))
    intended, delivered, alone = (samples[begin : begin + n] for samples in whole)
    louder_db = integrated_lkfs(delivered, record.sample_rate) - integrated_lkfs(intended, record.sample_rate)
    if np.isfinite(louder_db):  # the louder is turned down
        intended = intended * min(1.0, 10.0 ** (louder_db / 20.0))
        delivered = delivered * min(1.0, 10.0 ** (-louder_db / 20.0))
    return intended, delivered, alone
