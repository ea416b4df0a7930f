"""What a session plays: every stimulus at every level, and the files in stimuli/ that hold them."""

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
        highest = min(plan.safety.max_drive_dbfs, *(kind.headroom_dbfs(plan) for kind in PLAYED))
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

    One whose peak would pass digital full scale is left out; `too_peaky` names its levels.
    """
    headroom_dbfs = {kind.name: kind.headroom_dbfs(plan) for kind in PLAYED}
    return tuple(
        Planned(stimulus_name=kind.name, level_db_spl=level, stimulus=stimulus)
        for level, drive in drives.items()
        for kind in PLAYED
        if drive <= headroom_dbfs[kind.name] and (stimulus := kind.made(plan, drive)) is not None
    )


def too_peaky(plan: Plan, drives: Mapping[float, float]) -> dict[PlayedKind, tuple[float, ...]]:
    """Levels at which a kind is left out, because its peak would pass digital full scale; kinds without such a level
    are not among them."""
    headroom_dbfs = {kind: kind.headroom_dbfs(plan) for kind in PLAYED}
    left_out = {
        kind: tuple(level for level, drive in drives.items() if drive > highest)
        for kind, highest in headroom_dbfs.items()
    }
    return {kind: levels for kind, levels in left_out.items() if levels}


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
    """What stimuli/ says was played. Raises SessionError, naming those that there are, when it holds none so named."""
    path = folder.stimulus_path(stimulus_name, level_db_spl, ".json")
    if not path.is_file():
        known = [one.stem for one in stimulus_sidecars(folder)]
        wanted = stimulus_stem(stimulus_name, level_db_spl)
        there = f"there are {', '.join(known)}" if known else "run `distort stimuli` first"
        raise SessionError(f"{folder.root} has no stimulus {wanted}{did_you_mean(wanted, known)}: {there}")
    return read_stimulus_sidecar(path)


def stimulus_sidecars(folder: SessionFolder) -> tuple[Path, ...]:
    """The sidecars of the files in stimuli/ that play one stimulus, by name. Raises SessionError when it leads out."""
    there = folder.files_in("stimuli")
    return tuple(path for path in there if path.suffix == ".json" and parse_stem(path.stem) is not None)
