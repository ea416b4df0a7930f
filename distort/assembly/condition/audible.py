"""What a listener at 1 m would hear of the distortion of a condition, over the noise that its recordings hold."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from distort.analysis.common.curves import Harmonics
from distort.analysis.common.quantities import MULTITONE_DISTORTION, from_findings, harmonic
from distort.analysis.findings.finding import Audible, AudibleIn, Finding
from distort.analysis.hearing.audibility import (
    Margins,
    Verdict,
    multitone_margins,
    octave_margins,
    order_margins,
    room_noise_db_spl,
    verdict,
)
from distort.analysis.multitone.curves import MultitoneBands
from distort.analysis.programme import ProgrammeResult
from distort.analysis.sweep.noise import NoiseDensity
from distort.analysis.sweep.response import lowest_valid_hz
from distort.assembly.condition.levels import LevelsRead
from distort.session.results.audibility_results import AudibilityFound, Background
from signals.levels import spl_of_full_scale

FloatArray = npt.NDArray[np.float64]

SAID: dict[Verdict, Literal["yes", "perhaps", "no"]] = {"audible": "yes", "perhaps": "perhaps", "not audible": "no"}
"""Of a finding; the surest first. One of which nothing is known has none."""


def audibility(read: LevelsRead, harmonics: Sequence[Harmonics]) -> tuple[AudibilityFound, ...]:
    """Every order of every level, then the multitones; empty without a calibration. Each over the room's noise, where a
    silence was recorded, and over none. A multitone has its room from the sweep of its level."""
    found: list[AudibilityFound] = []
    for (level, sweep), one in zip(read.sweeps.items(), harmonics, strict=True):
        calibration = sweep.takes[0].sidecar.calibration
        if calibration is None:
            return ()
        full_scale = spl_of_full_scale(
            calibrator_dbfs=calibration.calibrator_dbfs, calibrator_db_spl=calibration.calibrator_db_spl
        )
        for background, noise in _backgrounds(sweep.read.noise):
            room = None if noise is None else _room(noise, full_scale, one.frequency_hz)
            for order in one.orders:
                margins = order_margins(one, order.order, noise_db_spl=room)
                found.append(
                    AudibilityFound(
                        quantity=harmonic(order.order),
                        level_db_spl=level,
                        background=background,
                        octaves=octave_margins(margins, lowest_valid_hz=lowest_valid_hz(sweep.read.separated)),
                    )
                )
            if level in read.multitones:
                bands = read.multitones[level].result.bands
                room = None if noise is None else _room(noise, full_scale, bands.frequency_hz)
                found.append(_of_multitone(bands, room, level_db_spl=level, background=background))
    return tuple(found)


def told_audible(
    findings: Iterable[Finding], harmonics: Mapping[float, Harmonics], music: ProgrammeResult | None = None
) -> Iterator[Finding]:
    """The findings, each with whether anyone would hear it, where it rests on orders of calibrated sweeps: in music as
    it was recorded, where that tells, otherwise of single tones in silence.

    harmonics   of each level; nothing is said where they are not in dB SPL
    music       recorded at levels above the lowest; None: none was
    """
    calibrated = {level: one for level, one in harmonics.items() if one.unit == "db_spl"}
    for finding in findings:
        rows = _rows(finding, calibrated)
        highest = max((row.level_db_spl for row in rows), default=None)
        at_highest = [row for row in rows if row.level_db_spl == highest]
        yield replace(finding, audible=_in_music(rows, music) or _of_tones(at_highest, calibrated))


@dataclass(frozen=True, kw_only=True)
class _Row:
    """A reading of an order that speaks for a finding."""

    level_db_spl: float
    order: int
    frequency_hz: float


def _rows(finding: Finding, harmonics: Mapping[float, Harmonics]) -> list[_Row]:
    return [
        _Row(level_db_spl=row.level_db_spl, order=order, frequency_hz=row.frequency_hz)
        for row in finding.evidence
        if row.speaks == "for" and row.level_db_spl in harmonics
        if (order := from_findings(row.quantity).order) is not None and order > 1
    ]


def _in_music(rows: Sequence[_Row], music: ProgrammeResult | None) -> Audible | None:
    """By all that the loudspeaker added to the loudest piece that was recorded, in the third octaves in which the
    products come out. More than one fault may have added it; of what begins above its level it says nothing."""
    if music is None or not music.levels:
        return None
    loudest, half = music.levels[-1], 10.0**0.05
    said: set[Verdict] = set()
    for row in rows:
        if row.level_db_spl > loudest.level_db_spl:
            continue
        at_hz = row.order * row.frequency_hz
        band = int(np.argmin(np.abs(np.log(music.frequency_hz / at_hz))))
        if music.frequency_hz[band] / half <= at_hz <= music.frequency_hz[band] * half and not loudest.doubtful[band]:
            said.add(verdict(float(loudest.excitation_db[band]), float(loudest.schroeder_db[band])))
    return _surest(said, loudest.level_db_spl, "recorded music")


def _of_tones(rows: Sequence[_Row], harmonics: Mapping[float, Harmonics]) -> Audible | None:
    """By its readings; noise may be in one that is doubtful."""
    said = {_verdict_at(order_margins(harmonics[row.level_db_spl], row.order), row.frequency_hz) for row in rows}
    return _surest(said, rows[0].level_db_spl, "single tones") if rows else None


def _surest(said: Collection[Verdict], level_db_spl: float, of: AudibleIn) -> Audible | None:
    surest = next((words for one, words in SAID.items() if one in said), None)
    return None if surest is None else Audible(verdict=surest, at_db_spl=level_db_spl, of=of)


def _verdict_at(margins: Margins, at_hz: float) -> Verdict:
    row = int(np.argmin(np.abs(np.log(margins.frequency_hz / at_hz))))
    if margins.doubtful[row]:
        return "unknown"
    return verdict(float(margins.excitation_db[row]), float(margins.schroeder_db[row]))


def _backgrounds(noise: NoiseDensity | None) -> tuple[tuple[Background, NoiseDensity | None], ...]:
    return (("silence", None),) if noise is None else (("room", noise), ("silence", None))


def _room(noise: NoiseDensity, full_scale_db_spl: float, at_hz: FloatArray) -> FloatArray:
    return room_noise_db_spl(noise, full_scale_db_spl=full_scale_db_spl, at_hz=at_hz)


def _of_multitone(
    bands: MultitoneBands, room: FloatArray | None, *, level_db_spl: float, background: Background
) -> AudibilityFound:
    margins = multitone_margins(
        bands.frequency_hz,
        lines_db_spl=bands.level_db,
        distortion_db=bands.distortion_db,
        doubtful=bands.doubtful,
        noise_db_spl=room,
    )
    return AudibilityFound(
        quantity=MULTITONE_DISTORTION,
        level_db_spl=level_db_spl,
        background=background,
        octaves=octave_margins(margins, lowest_valid_hz=0.0),
    )
