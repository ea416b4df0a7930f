"""What a session plays: every stimulus at every level, and the files in stimuli/ that hold them."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import signals
from distort.errors import PlanError, SessionError, did_you_mean
from distort.session.audio.audio_file import write_audio
from distort.session.calibration.drive_file import Sensitivity
from distort.session.files.atomic import make_folder
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.files.names import format_level, parse_stem, stimulus_stem
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import PLAYED, PlayedKind
from distort.session.recordings.pieces import give_piece, keep_piece
from distort.session.recordings.sidecar import StimulusSidecar, read_stimulus_sidecar, write_stimulus_sidecar
from signals import Reel, Stimulus

DITHER_SEED = 1
"""Makes the dither of every stimulus file again."""


@dataclass(frozen=True, kw_only=True)
class Planned:
    """One stimulus at one level."""

    stimulus_name: str
    level_db_spl: float
    stimulus: Stimulus

    @property
    def stem(self) -> str:
        """File name without ending."""
        return stimulus_stem(self.stimulus_name, self.level_db_spl)

    @property
    def reel(self) -> Reel:
        """What is really played: the stimulus between silences and clock chirps."""
        return signals.framed(self.stimulus)

    @property
    def facts(self) -> str:
        """What else one should know of it, in a few words; "": nothing."""
        return next(kind for kind in PLAYED if kind.name == self.stimulus_name).facts(self.stimulus)


def drives_dbfs(plan: Plan, sensitivity: Sensitivity | None) -> dict[float, float]:
    """Drive of every nominal level, dBFS (AES17).

    Without a measured sensitivity the highest level gets [safety] max_drive_dbfs, or less where a stimulus's peak
    needs the room, and the others lie exactly as far below it as their levels do: the volume of the player then sets
    the level. Raises PlanError when a level would need
    more than max_drive_dbfs, or would pass the ceiling at the frequency where the loudspeaker is loudest.
    """
    levels = plan.levels.db_spl
    if sensitivity is None:
        room = (
            kind.headroom_dbfs(plan) + (levels[-1] - wanted[-1])
            for kind in PLAYED
            if (wanted := _below_ceiling(kind, plan))
        )
        highest = min(plan.safety.max_drive_dbfs, *room)
        return {level: highest - (levels[-1] - level) for level in levels}
    drives = {level: sensitivity.drive_dbfs(level) for level in levels}
    for level, drive in drives.items():
        if drive > plan.safety.max_drive_dbfs:
            raise PlanError(
                f"{format_level(level)} dB SPL needs a drive of {drive:.1f} dBFS, above [safety] max_drive_dbfs = "
                f"{plan.safety.max_drive_dbfs:g}: leave the level out, or turn the loudspeaker up and measure anew"
            )
        loudest = drive + sensitivity.highest_db_spl
        if loudest > plan.safety.ceiling_db_spl:
            raise PlanError(
                f"at {format_level(level)} dB SPL the loudspeaker would give {loudest:.1f} dB SPL where it is loudest, "
                f"above [safety] ceiling_db_spl = {plan.safety.ceiling_db_spl:g}: leave the level out of session.toml"
            )
    return drives


def planned(plan: Plan, drives: Mapping[float, float]) -> tuple[Planned, ...]:
    """Every stimulus in the order of the ladder: at each level those of PLAYED that the plan asks for.

    One whose peak would pass digital full scale, or whose loudest moment the ceiling, is left out: see `left_out`.
    """
    levels = {kind: set(_below_ceiling(kind, plan)) for kind in PLAYED}
    headroom_dbfs = {kind: kind.headroom_dbfs(plan) for kind in PLAYED}
    return tuple(
        Planned(stimulus_name=kind.name, level_db_spl=level, stimulus=stimulus)
        for level, drive in drives.items()
        for kind in PLAYED
        if level in levels[kind] and drive <= headroom_dbfs[kind] and (stimulus := kind.made(plan, drive)) is not None
    )


def _below_ceiling(kind: PlayedKind, plan: Plan) -> tuple[float, ...]:
    """Levels at which a kind is wanted and not too loud, from the lowest up."""
    highest = kind.highest_db_spl(plan)
    return tuple(level for level in kind.levels_db_spl(plan) if level <= highest)


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """Levels at which a kind is wanted and not played."""

    kind: PlayedKind
    levels_db_spl: tuple[float, ...]
    too_loud: bool
    """Its loudest moment would pass the ceiling; else its peak would pass digital full scale."""


def left_out(plan: Plan, drives: Mapping[float, float]) -> tuple[LeftOut, ...]:
    """What is left out, kind by kind."""
    found = []
    for kind in PLAYED:
        wanted, below = kind.levels_db_spl(plan), _below_ceiling(kind, plan)
        headroom_dbfs = kind.headroom_dbfs(plan)
        loud = tuple(level for level in wanted if level not in below)
        peaky = tuple(level for level in below if drives.get(level, -math.inf) > headroom_dbfs)
        found += [LeftOut(kind=kind, levels_db_spl=loud, too_loud=True)] if loud else []
        found += [LeftOut(kind=kind, levels_db_spl=peaky, too_loud=False)] if peaky else []
    return tuple(found)


def write_stimulus(folder: SessionFolder, item: Planned, *, replace: bool = True) -> StimulusSidecar:
    """Write stimuli/<name>_<level>dB.wav (24 bits, triangular dither) and its sidecar, unless they are there already.

    Raises SessionError when the folder does not allow it, or, unless `replace`, when a file of that name describes
    another stimulus: it may have been played already, and its recording is not found without it.
    """
    path = folder.stimulus_path(item.stimulus_name, item.level_db_spl)
    beside = path.with_suffix(".json")
    if path.exists() and beside.exists():
        there = read_stimulus_sidecar(beside)
        if there.reel == item.reel and sha256_of_file(path) == there.sha256:
            return there
    if not replace and beside.exists() and read_stimulus_sidecar(beside).reel != item.reel:
        raise SessionError(
            f"{beside} describes another stimulus than session.toml now asks for; recordings of it can only be brought "
            f"in while it is there: bring them in first, then say --replace"
        )
    make_folder(path.parent)
    keep_piece(folder, item.stimulus)
    reel = item.reel
    write_audio(path, reel.samples(), reel.sample_rate, subtype="PCM_24", dither_seed=DITHER_SEED, replace=True)
    sidecar = StimulusSidecar(
        stimulus_name=item.stimulus_name,
        level_db_spl=item.level_db_spl,
        drive_dbfs=item.stimulus.drive_dbfs,
        stimulus=item.stimulus,
        reel=reel,
        sample_rate=reel.sample_rate,
        subtype="PCM_24",
        dither_seed=DITHER_SEED,
        file=path.name,
        sha256=sha256_of_file(path),
    )
    write_stimulus_sidecar(beside, sidecar)
    return sidecar


def read_stimulus(folder: SessionFolder, stimulus_name: str, level_db_spl: float) -> StimulusSidecar:
    """What stimuli/ says was played; music has its samples then. Raises SessionError, naming those that there are, when
    it holds none so named, and as `give_piece` does."""
    path = folder.stimulus_path(stimulus_name, level_db_spl, ".json")
    if not path.is_file():
        known = [one.stem for one in stimulus_sidecars(folder)]
        wanted = stimulus_stem(stimulus_name, level_db_spl)
        there = f"there are {', '.join(known)}" if known else "run `distort stimuli` first"
        raise SessionError(f"{folder.root} has no stimulus {wanted}{did_you_mean(wanted, known)}: {there}")
    sidecar = read_stimulus_sidecar(path)
    give_piece(folder, sidecar.stimulus, played_for=sidecar.stimulus_name)
    return sidecar


def stimulus_sidecars(folder: SessionFolder) -> tuple[Path, ...]:
    """The sidecars of the files in stimuli/ that play one stimulus, by name. Raises SessionError when it leads out."""
    there = folder.files_in("stimuli")
    return tuple(path for path in there if path.suffix == ".json" and parse_stem(path.stem) is not None)
