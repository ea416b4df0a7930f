"""Pairs for the blind test out of what `distort hear` wrote, and results/listening/blind.html, which offers them."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.hearing.dips import with_dip_filled
from distort.errors import SessionError
from distort.report.page.blind import HIGHEST_PEAK, LEAST_S, BlindPage, BlindPair, TooManySoundsError, blind_page
from distort.report.text.blind import PAIR_WORDS, RAISED_DB, PairWords, dip_words, music_words
from distort.session.audio.audio_file import read_audio
from distort.session.audio.embedded import ENCODERS
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import sha256_of_text
from distort.session.plan.keys import Plan
from distort.session.results.blind_page_file import BlindNote, write_blind_file
from distort.session.results.blind_results import PairKind
from distort.session.results.condition_results import read_findings
from distort.session.results.going_out import may_go_out
from distort.session.results.heard_files import (
    DELIVERED,
    INTENDED,
    NO_COMPRESSION,
    NO_DISTORTION,
    REMAINDER,
    Heard,
    as_written,
    heard_records,
)

FloatArray = npt.NDArray[np.float64]

MOST_RECORDS = 4
"""Whose sounds a page holds: about what 12 MB take of 8 s each; the newest first, then the loudest."""

LEAST_DIFFERENCE = 2.0**-21
"""r.m.s. of a difference that counts, full scale 1: eight steps of the 24 bits in which the sounds lie. Below are
rounding and dither, so two such sounds are one and make no pair."""


@dataclass(frozen=True, kw_only=True)
class BlindWritten:
    """The page, as it was written."""

    path: Path
    pairs: int
    shared: bool
    """The licences of all music in it permit that others have it."""
    without_dip: tuple[str, ...]
    """Why results cannot be read whose dips would make pairs as well."""


def write_blind_page(folder: SessionFolder, plan: Plan, *, newest: str, software: str) -> BlindWritten | None:
    """Write results/listening/blind.html from the sounds that lie beside it; None where they make no pair.

    plan       says whether the music in it may leave the session
    newest     stem of the record that was written last: its sounds are in the page
    software   name and version of what writes it

    Raises SessionError when a file cannot be read or written.
    """
    records = [one for one in heard_records(folder) if one.n_samples >= LEAST_S * one.sample_rate]
    records = [one for one in records if as_written(folder, one)]
    chosen = sorted(records, key=lambda one: (one.stem != newest, one.source, -one.level_db_spl))[:MOST_RECORDS]
    dips, without_dip = _dips(folder, {one.condition for one in chosen})
    with ThreadPoolExecutor(ENCODERS) as pool:
        offered_of = list(pool.map(lambda one: list(_pairs(folder, one, dips.get(one.condition))), chosen))
    pairs = dict(zip(chosen, offered_of, strict=True))
    pairs = {one: offered for one, offered in pairs.items() if offered}
    while pairs:
        try:
            page = _page(pairs, software)
        except TooManySoundsError:
            pairs.pop(list(pairs)[-1])  # at high sample rates: the least of them stays out
            continue
        shared = all(may_go_out(one, plan) for one in pairs)
        music = tuple(dict.fromkeys(one.programme_sha256 for one in pairs))
        note = BlindNote(sha256=sha256_of_text(page.html), test=page.test, licensed=shared, music=music)
        number = sum(map(len, pairs.values())) + 1
        return BlindWritten(
            path=write_blind_file(folder, page.html, note), pairs=number, shared=shared, without_dip=without_dip
        )
    return None


def _page(pairs: Mapping[Heard, Sequence[BlindPair]], software: str) -> BlindPage:
    """The page of all pairs, by their records, and a control. Whichever was written last, the same sounds make the same
    page: answers that were given keep their meaning."""
    records = sorted(pairs, key=lambda one: (one.source, -one.level_db_spl, one.condition))
    every = [one for record in records for one in pairs[record]]
    credit = "; ".join(dict.fromkeys(words for words in map(music_words, records) if words))
    loudspeaker = records[0].loudspeaker
    return blind_page([*every, _control(every[0])], loudspeaker=loudspeaker, software=software, credit=credit)


def _pairs(folder: SessionFolder, record: Heard, dip: Anomaly | None) -> Iterator[BlindPair]:
    """All pairs of one record whose two sounds differ at all, that of a dip among them."""
    sounds = _sounds(folder, record)
    if DELIVERED not in sounds:
        return
    delivered = sounds[DELIVERED]
    sides: dict[PairKind, tuple[FloatArray | None, FloatArray | None]] = {
        "whole": (sounds.get(INTENDED), delivered),
        "distortion": (sounds.get(NO_DISTORTION), delivered),
        "compression": (sounds.get(NO_COMPRESSION), delivered),
        "raised": (sounds.get(INTENDED), _raised(sounds)),
    }
    for name, (a, b) in sides.items():
        if a is not None and b is not None and _differ(a, b):
            yield _pair(record, name, PAIR_WORDS[name], (a, b))
    if dip is not None:
        filled = with_dip_filled(
            delivered,
            record.sample_rate,
            frequency_hz=dip.frequency_hz,
            depth_db=-dip.deviation_db,
            width_octaves=dip.width_octaves,
        )
        if _differ(filled, delivered):
            made = _pair(record, "dip", dip_words(dip), (filled, delivered))
            yield replace(made, frequency_hz=dip.frequency_hz)


def _sounds(folder: SessionFolder, record: Heard) -> Mapping[str, FloatArray]:
    """The sounds by their part, all turned by the same gain, so that the highest peak among them is -1 dBFS."""
    read = {
        one.part: read_audio(folder.inside("results", "listening", one.file))[0]
        for one in record.sounds
        if one.raised_db == 0.0
    }
    peak = max((float(np.max(np.abs(samples))) for samples in read.values()), default=0.0)
    return {part: samples * (HIGHEST_PEAK / peak if peak > 0.0 else 1.0) for part, samples in read.items()}


def _raised(sounds: Mapping[str, FloatArray]) -> FloatArray | None:
    """The music with the remainder louder than it is; None where one of them is not there."""
    if INTENDED not in sounds or REMAINDER not in sounds:
        return None
    return np.asarray(sounds[INTENDED] + 10.0 ** (RAISED_DB / 20.0) * sounds[REMAINDER])


def _differ(a: FloatArray, b: FloatArray) -> bool:
    return bool(np.sqrt(np.mean(np.square(a - b))) > LEAST_DIFFERENCE)


def _dips(folder: SessionFolder, conditions: Collection[str]) -> tuple[dict[str, Anomaly], tuple[str, ...]]:
    """The deepest dip of each condition that has one; and why results of others cannot be read."""
    dips, problems = {}, []
    for condition in sorted(conditions):
        try:
            dip = _deepest_dip(folder, condition)
        except SessionError as error:
            problems.append(str(error))
        else:
            if dip is not None:
                dips[condition] = dip
    return dips, tuple(problems)


def _deepest_dip(folder: SessionFolder, condition: str) -> Anomaly | None:
    """The dip of the condition's findings that takes most away; None where it was not analysed, or has none.

    Depth in dB times width in octaves is about what it takes from music with as much power in each octave.
    """
    if condition not in folder.conditions_analysed():
        return None
    findings = read_findings(folder, condition)
    places = [place for finding in findings.findings or () if not finding.broad for place in finding.places]
    dips = [
        one
        for one in findings.anomalies
        if one.kind == "dip" and any(place.low_hz <= one.frequency_hz <= place.high_hz for place in places)
    ]
    return max(dips, key=lambda one: -one.deviation_db * one.width_octaves, default=None)


def _pair(record: Heard, name: PairKind, words: PairWords, sides: tuple[FloatArray, FloatArray]) -> BlindPair:
    return BlindPair(
        pair=f"{record.stem}_{name}",
        kind=name,
        title=words.title,
        words=words.words,
        a=words.a,
        b=words.b,
        samples_a=sides[0],
        samples_b=sides[1],
        sample_rate=record.sample_rate,
        condition=record.condition,
        level_db_spl=record.level_db_spl,
        source=record.source,
        simulated=record.simulated,
    )


def _control(pair: BlindPair) -> BlindPair:
    """Side B of `pair` twice."""
    words = PAIR_WORDS["control"]
    return replace(
        pair,
        pair=f"{pair.pair.removesuffix(pair.kind)}control",
        kind="control",
        title=words.title,
        words=words.words,
        a=words.a,
        b=words.b,
        samples_a=pair.samples_b,
    )
