"""Brings in the recording of a reel: found, checked as a whole, and cut into recordings with their sidecars."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from distort.analysis.common.statistics import TWO_SIDED_95
from distort.capture.importing.recordings import Elsewhere, sidecar_elsewhere
from distort.capture.reel.cutting import Cut, cut
from distort.capture.reel.finding import FoundReel, find_session_reel, require_whole
from distort.capture.reel.levels import SAME_DB, ChirpLevels, chirp_levels, require_same_level
from distort.capture.reel.making import highest_quiet_db_spl
from distort.capture.reel.player_level import SweepLevel, highest_at_top, level_of_recording
from distort.errors import RecordingError, SessionError
from distort.recording.quality.check import CLOCK_SAME_PPM
from distort.recording.quality.examined import Examined, examine
from distort.session.audio.long_recording import OnDisk, open_long
from distort.session.audio.original import Original, elsewhere, original_of
from distort.session.files.folder import SessionFolder
from distort.session.files.moments import iso_utc, now_utc
from distort.session.files.names import RecordingName
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import SWEEP
from distort.session.recordings.reel_file import (
    QuietReelPassed,
    ReelPart,
    SessionReel,
    layout_sha256,
    session_reels,
    write_passed,
)
from distort.session.recordings.sidecar import reject
from distort.session.recordings.stored import Recording, load_recordings, save_recording

Progress = Callable[[str, int, int], None]

TOO_LOUD_DB = 3.0
"""A quiet part this much louder than nominal does not pass: the loud part would be as much too loud."""

REPLACED = "the whole reel, recorded in one go, takes its place"


@dataclass(frozen=True, kw_only=True)
class AddedReel:
    """What came of bringing a reel in."""

    reel: SessionReel
    recordings: tuple[Recording, ...]
    refused: tuple[str, ...]
    """A sentence for each part that was not taken."""
    clock_ppm: float
    """Recorder against player."""
    clock_uncertainty_ppm: float
    """Half-width of its 95 % interval."""
    turned_db: float | None
    """As it stands in the sidecars; None: nobody said, and noise or earlier recordings leave it open."""
    can_tell_level: bool
    """Whether the chirps stand clear enough of noise to show a change of level by the player."""
    set_aside: tuple[Recording, ...]
    """Recordings of the quiet part that this whole reel replaces."""
    level: SweepLevel | None
    """Of its loudest quiet sweep; None without a calibration."""
    passed: bool
    """The quiet part is not too loud for the rest to follow."""
    down_db: tuple[tuple[str, float], ...]
    """Parts after which every band was quieter for a while, and by how much: heat, or a player that turns down."""


def add_reel(
    folder: SessionFolder,
    plan: Plan,
    source: Path,
    *,
    condition: str,
    turned_db: float | None,
    channel: int | None,
    progress: Progress,
    keep_metadata: bool = False,
) -> AddedReel:
    """Find one of the session's reels in the audio file `source` and bring its recordings in.

    turned_db   how far the volume was turned up since the first recording; None: nobody said. In the first recording
                of a session nothing was turned.
    channel     of the file, counted from 1; None: it has only one
    keep_metadata  keep the file's name in the sidecars

    Parts that their own check refuses are left out; what was brought in before from the same file is not brought in
    again. Raises RecordingError when the file holds none of the reels, not all of it, a section was lost, the player
    changed its level, or no part is any good; SessionError when the session has no reel, or has this recording already.
    """
    with open_long(source, channel=channel) as recording:
        original = original_of(source, kept=keep_metadata)
        progress("looking for the reel", 0, 1)
        found = find_session_reel(recording, session_reels(folder))
        require_whole(found, what=str(source))
        levels = chirp_levels(found)
        require_same_level(found, levels, what=str(source))
        work = _Work(
            folder=folder,
            plan=plan,
            source=source,
            original=original,
            condition=condition,
            recording=recording,
            found=found,
            began=datetime.now(UTC) - timedelta(seconds=recording.n_samples / recording.sample_rate),
            turned_db=_turned_db(folder, found, original.sha256, said_db=turned_db, can_tell=levels.can_tell),
        )
        recordings, refused = work.bring_in(progress)
    set_aside = _set_aside(folder, condition, found.reel, recordings)
    level = _level(folder, plan, recordings)
    added = AddedReel(
        reel=found.reel,
        recordings=recordings,
        refused=refused,
        clock_ppm=1e6 * found.clock,
        clock_uncertainty_ppm=1e6 * TWO_SIDED_95 * found.clock_sigma,
        turned_db=work.turned_db,
        can_tell_level=levels.can_tell,
        set_aside=set_aside,
        level=level,
        passed=level is not None and not refused and -level.turn_db <= TOO_LOUD_DB,
        down_db=_down(found, levels),
    )
    _write_passed(folder, plan, added, condition=condition, digest=original.sha256)
    return added


@dataclass(frozen=True, kw_only=True)
class _Work:
    folder: SessionFolder
    plan: Plan
    source: Path
    original: Original
    condition: str
    recording: OnDisk
    found: FoundReel
    began: datetime
    turned_db: float | None

    def bring_in(self, progress: Progress) -> tuple[tuple[Recording, ...], tuple[str, ...]]:
        """Every part in turn. Raises RecordingError when none is any good, SessionError when all are there already.

        What the tester rejected may come again, as a single recording may; what the whole reel replaced stays aside.
        """
        there = [
            replace(one.sidecar.name, take=1)
            for one in load_recordings(self.folder, self.condition)
            if self.mark in one.sidecar.device and one.sidecar.rejected in (None, REPLACED)
        ]
        parts = [part for part in self.found.reel.parts if not _taken_off(there, replace(part.name, take=1))]
        if not parts:
            raise SessionError(f"{self.source} is in the session already, in condition {self.condition}")
        recordings, refused = [], []
        for done, part in enumerate(parts):
            progress(f"bringing in {part.name.stem}", done, len(parts))
            try:
                recordings.append(self._one(part))
            except RecordingError as error:
                refused.append(str(error))
        if not recordings:
            raise RecordingError(refused[0])
        return tuple(recordings), tuple(refused)

    @property
    def mark(self) -> str:
        """By which a recording that was cut out of this file is known."""
        return _mark(self.original.sha256)

    def _one(self, part: ReelPart) -> Recording:
        reel = self.found.reel.part_reel(part)
        what = f"{self.source}, {part.name.stem}"
        taken = cut(self.recording, self.found, part)
        examined = examine(taken.at_reel_rate(), reel, what=what, as_stored=taken.samples)
        made = Elsewhere(
            name=self.folder.next_take(self.condition, part.name),
            condition=self.condition,
            stimulus=self.found.reel.stimulus(part),
            reel=reel,
            stimulus_sha256=self.found.reel.sha256,
            sample_rate=taken.sample_rate,
            channel=1,
            device=elsewhere(
                named=self.source.name if self.original.kept else None,
                also=f"the reel {self.found.reel.stem}, {self.mark}",
            ),
            turned_db=self.turned_db,
            date=self._date(taken),
            rest_s=part.rest_s,
            original=self.original.later_by(taken.first / taken.sample_rate),
        )
        sidecar = sidecar_elsewhere(self.folder, self.plan, made, examined)
        sidecar = replace(sidecar, clock_difference_ppm=_clock_ppm(self.found, examined))
        return save_recording(self.folder, taken.samples, sidecar, suffix=self.recording.kept_as[0])

    def _date(self, taken: Cut) -> str:
        """As if the recording had just ended: what lies between its parts is exact, when it was made nobody knows."""
        return iso_utc(self.began + timedelta(seconds=taken.first / taken.sample_rate))


def _mark(digest: str) -> str:
    return f"SHA-256 {digest[:16]}"


def _taken_off(there: list[RecordingName], name: RecordingName) -> bool:
    """Whether `name` was in the list, which has one fewer of it then."""
    if name in there:
        there.remove(name)
        return True
    return False


def _clock_ppm(found: FoundReel, examined: Examined) -> float | None:
    """By all chirps of the reel; by the part's own two where those say otherwise, because a clock may wander."""
    own = examined.alignment
    whole_ppm = 1e6 * found.clock
    if abs(own.clock_difference_ppm - whole_ppm) > 1.5 * own.clock_uncertainty_ppm + CLOCK_SAME_PPM:
        return examined.clock_difference_ppm()
    return whole_ppm if abs(whole_ppm) > max(3e6 * found.clock_sigma, CLOCK_SAME_PPM) else 0.0


def _turned_db(
    folder: SessionFolder, found: FoundReel, digest: str, *, said_db: float | None, can_tell: bool
) -> float | None:
    """As said; 0 for the first recording of a session, in which the chirps show that nothing was turned."""
    if said_db is not None:
        return said_db
    quiet = {reel.sha256 for reel in session_reels(folder) if reel.up_to_db_spl is not None}
    others = [
        one
        for condition in folder.conditions_recorded()
        for one in load_recordings(folder, condition)
        if one.sidecar.rejected is None and _mark(digest) not in one.sidecar.device
    ]
    if found.reel.up_to_db_spl is None:
        others = [one for one in others if one.sidecar.stimulus_sha256 not in quiet]
    return 0.0 if can_tell and not others else None


def _set_aside(
    folder: SessionFolder, condition: str, reel: SessionReel, recordings: Sequence[Recording]
) -> tuple[Recording, ...]:
    """Reject what came from the quiet part and has come again: the volume may have been turned in between."""
    if reel.up_to_db_spl is not None:
        return ()
    quiet = {one.sha256 for one in session_reels(folder) if one.up_to_db_spl is not None}
    again = {replace(one.sidecar.name, take=1) for one in recordings}
    aside = [
        one
        for one in load_recordings(folder, condition)
        if one.sidecar.stimulus_sha256 in quiet
        and one.sidecar.rejected is None
        and replace(one.sidecar.name, take=1) in again
    ]
    for one in aside:
        reject(one.files.sidecar_path, REPLACED)
    return tuple(aside)


def _level(folder: SessionFolder, plan: Plan, recordings: Sequence[Recording]) -> SweepLevel | None:
    """Of the loudest quiet sweep: it stands clear of noise, and hardly compresses."""
    quiet_db_spl = highest_quiet_db_spl(plan)
    sweeps = [one for one in recordings if one.sidecar.stimulus_name == SWEEP and not one.sidecar.after]
    quiet = [one for one in sweeps if one.sidecar.level_db_spl <= quiet_db_spl]
    if not quiet:
        return None
    return level_of_recording(folder, plan, max(quiet, key=lambda one: one.sidecar.level_db_spl))


def _down(found: FoundReel, levels: ChirpLevels) -> tuple[tuple[str, float], ...]:
    return tuple(
        (found.reel.parts[mark.part].name.stem, common_db)
        for index, mark in enumerate(found.marks)
        if mark.part is not None and not mark.before and (common_db := levels.common_db(index)) < -SAME_DB
    )


def _write_passed(folder: SessionFolder, plan: Plan, added: AddedReel, *, condition: str, digest: str) -> None:
    if added.reel.up_to_db_spl is None or added.level is None or not added.passed:
        return
    write_passed(
        folder,
        QuietReelPassed(
            layout_sha256=layout_sha256(added.reel.reel),
            up_to_db_spl=added.reel.up_to_db_spl,
            condition=condition,
            too_loud_db=-added.level.turn_db,
            highest_at_top_db_spl=highest_at_top(plan, added.level) - added.level.turn_db,
            recording_sha256=digest,
            date=now_utc(),
        ),
    )
