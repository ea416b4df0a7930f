"""What a loudspeaker does to a piece of music at a level, from its recordings: sounds to be heard, and their record."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from distort.analysis.heard import HeardParts, heard_parts
from distort.analysis.hearing.over_masked import OverMasked, over_masked
from distort.analysis.programme import FADE_S, ProgrammeTake
from distort.assembly.condition.programme import (
    bands_of,
    drive_of,
    full_scale_db_spl,
    piece_of,
    require_same_piece,
    take_of,
)
from distort.errors import SessionError
from distort.recording.takes import Takes, takes_of_each_level
from distort.session.files.folder import SessionFolder
from distort.session.files.names import format_level
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import PROGRAMME
from distort.session.recordings.pieces import credit_and_licence
from distort.session.recordings.stored import Recording, load_recording
from distort.session.results.heard_files import (
    DELIVERED,
    INTENDED,
    NO_COMPRESSION,
    NO_DISTORTION,
    REMAINDER,
    Heard,
    NamedFile,
    Sound,
)
from signals import as_a
from signals.levels import amplitude_to_db, db_to_amplitude
from signals.programme import Programme
from signals.sampled_programme import SampledProgramme

PEAK_DBFS = -3.0
"""Of the loudest of the sounds, as music has it: converters of players then have room for what lies between samples."""

MOST_RAISED_DB = 60.0
"""By which a remainder is raised: more would bring up nothing but dither."""


@dataclass(frozen=True, kw_only=True, eq=False)
class HeardSounds:
    """The sounds of a level, their record without its files, and what of them may be audible."""

    record: Heard
    sounds: tuple[Sound, ...]
    parts: HeardParts
    masked: OverMasked


@dataclass(frozen=True, kw_only=True, eq=False)
class RecordedMusic:
    """The music of a condition: the first takes that nobody rejected, all held against the lowest level. Recordings are
    read once, and only as far as they are needed."""

    folder: SessionFolder
    plan: Plan
    condition: str
    takes: Mapping[float, Takes]
    """By level, from the lower up."""

    def levels(self, asked_db_spl: float | None) -> tuple[float, ...]:
        """Those that can be held against the lowest: the one that is asked for, or all. Raises SessionError where there
        is none, and as `require_same_piece`."""
        self._require_two()
        if asked_db_spl is None:
            return tuple(self.takes)[1:]
        self._quiet_and_loud(asked_db_spl)
        return (asked_db_spl,)

    @cached_property
    def _quiet(self) -> ProgrammeTake:
        return take_of(next(iter(self.takes.values()))[0])

    def sounds(self, level_db_spl: float) -> HeardSounds:
        """What a level holds against the lowest.

        Raises SessionError when there is no music at that level and a lower one, or the two are not a known drive
        apart; AnalysisError when they are not of the same piece; and as `prepare` does.
        """
        quiet, loud = self._quiet_and_loud(level_db_spl)
        piece = piece_of(loud)
        louder_db = drive_of(loud) - drive_of(quiet)
        if np.isnan(louder_db):
            raise SessionError(
                f"nobody said how far the volume was turned between {quiet[0].files.in_session} and "
                f"{loud[0].files.in_session}: bring them in again with --playback-change-db"
            )
        parts = heard_parts(
            self._quiet,
            take_of(loud[0]),
            piece=piece.samples(),
            sample_rate=piece.sample_rate,
            bands_hz=bands_of(piece),
            louder_db=louder_db,
        )
        spl_db = full_scale_db_spl(loud)
        record = replace(
            _record(self.plan, self.condition, (quiet[0], loud[0]), piece),
            n_samples=parts.intended.size,
            silent=parts.silent,
        )
        first = round(FADE_S * piece.sample_rate)
        return with_sounds(record, parts, sounding=slice(first + piece.n_samples), full_scale_db_spl=spl_db)

    def _quiet_and_loud(self, level_db_spl: float) -> tuple[Takes, Takes]:
        self._require_two()
        lowest, *others = self.takes
        if level_db_spl not in others:
            why = "is the one that others are held against" if level_db_spl == lowest else "was not recorded"
            known = ", ".join(map(format_level, others))
            raise SessionError(
                f"music at {level_db_spl:g} dB SPL {why} in condition {self.condition}: take --level {known}"
            )
        quiet, loud = self.takes[lowest], self.takes[level_db_spl]
        require_same_piece(quiet, loud)
        return quiet, loud

    def _require_two(self) -> None:
        if len(self.takes) < 2:
            known = ", ".join(map(format_level, self.takes))
            there = f"holds music at {known} dB SPL alone" if self.takes else "holds no music that is not rejected"
            raise SessionError(
                f"condition {self.condition} of {self.folder.root} {there}, and two levels are held against one "
                f"another: write a section [programme] into session.toml and record what is missing with `distort "
                f"measure`; a rattle is heard without music, by `distort residual {self.folder.root}:{self.condition} "
                f"--level` and the level of its sweep"
            )


def recorded_music(folder: SessionFolder, plan: Plan, condition: str) -> RecordedMusic:
    """What was recorded of music. Raises SessionError for a sidecar that is missing or cannot be read."""
    recordings = [load_recording(one) for one in folder.recordings(condition) if one.name.stimulus == PROGRAMME]
    takes = takes_of_each_level(recordings, PROGRAMME)
    return RecordedMusic(
        folder=folder, plan=plan, condition=condition, takes={level: takes[level] for level in sorted(takes)}
    )


def with_sounds(record: Heard, parts: HeardParts, *, sounding: slice, full_scale_db_spl: float | None) -> HeardSounds:
    """The sounds of `parts`, and what of the remainder the music masks.

    sounding            where the piece lies in them
    full_scale_db_spl   SPL of a sine at full scale of the recorder; None: no calibration
    """
    masked = over_masked(
        parts.intended[sounding],
        parts.remainder[sounding],
        sample_rate=parts.sample_rate,
        bands_hz=parts.frequency_hz,
        noise_power=parts.noise_power,
        full_scale_db_spl=full_scale_db_spl,
    )
    sounds, gain_db = levelled(parts)
    known = None if full_scale_db_spl is None else full_scale_db_spl - gain_db
    return HeardSounds(record=replace(record, full_scale_db_spl=known), sounds=sounds, parts=parts, masked=masked)


def _record(plan: Plan, condition: str, both: tuple[Recording, Recording], piece: Programme) -> Heard:
    """What is known before the sounds are made."""
    quiet, loud = both
    credit, licence = credit_and_licence(plan, piece)
    sampled = as_a(SampledProgramme, piece)
    return Heard(
        source="recorded",
        simulated=loud.sidecar.simulated,
        loudspeaker=loud.sidecar.loudspeaker.name,
        condition=condition,
        level_db_spl=loud.sidecar.level_db_spl,
        quiet_db_spl=quiet.sidecar.level_db_spl,
        credit=credit,
        licence=licence,
        programme_sha256=None if sampled is None else sampled.samples_sha256,
        sample_rate=piece.sample_rate,
        n_samples=piece.n_samples,
        full_scale_db_spl=None,
        recordings=tuple(NamedFile(file=one.files.in_session, sha256=one.sidecar.recording_sha256) for one in both),
        silent=(),
    )


def levelled(parts: HeardParts) -> tuple[tuple[Sound, ...], float]:
    """All sounds by one gain, in dB; and the remainder once more, as loud as the loudest of them."""
    each = {
        INTENDED: parts.intended,
        DELIVERED: parts.delivered,
        REMAINDER: parts.remainder,
        NO_DISTORTION: parts.intended + parts.linear + parts.compression,
        NO_COMPRESSION: parts.intended + parts.linear + parts.distortion,
    }
    gain_db = PEAK_DBFS - max(float(amplitude_to_db(np.max(np.abs(sound)))) for sound in each.values())
    gain = float(db_to_amplitude(gain_db))
    sounds = [Sound(part=part, samples=gain * sound) for part, sound in each.items()]
    room_db = PEAK_DBFS - gain_db - float(amplitude_to_db(np.max(np.abs(parts.remainder))))
    raised_db = float(np.floor(min(room_db, MOST_RAISED_DB)))
    if np.any(parts.remainder) and raised_db >= 1.0:
        louder = gain * float(db_to_amplitude(raised_db)) * parts.remainder
        sounds.append(Sound(part=REMAINDER, samples=louder, raised_db=raised_db))
    return tuple(sounds), gain_db
