"""Makes the reel: the steps of a condition in one file, with rests whose lengths tell one reel from another."""

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

import signals
from distort.capture.measuring.steps import Step, steps
from distort.errors import CalibrationError, PlanError, SessionError, UsageError
from distort.session.audio.audio_file import FloatArray, write_pieces
from distort.session.calibration.calibration_file import read_calibration
from distort.session.calibration.drive_file import Sensitivity
from distort.session.files.atomic import make_folder
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.files.names import format_level
from distort.session.plan.keys import Plan
from distort.session.recordings.pieces import keep_piece
from distort.session.recordings.reel_file import (
    QuietReelPassed,
    ReelPart,
    SessionReel,
    layout_sha256,
    read_passed,
    read_reel,
    reel_path,
    write_reel_sidecar,
)
from distort.session.recordings.stimulus_files import DITHER_SEED, drives_dbfs, planned
from signals import Noise, Reel, Silence
from signals.reel import CHIRP_BELOW_STIMULUS_DB
from signals.stimulus import Playable

QUIET_DB_SPL = 86.0
"""The quiet part may go up to here, or be the lowest level alone: NIOSH allows 85 dB(A) for eight hours."""

WAKE_S, WAKE_SILENCE_S = 3.0, 2.0
"""Noise at the start: a standby circuit may take seconds, and swallow what woke it."""

STAY_AWAKE_S = 0.5
"""Noise at the end of a long rest, so that a link that mutes in silence swallows this and not the chirp."""

LONG_REST_S = 5.0

CLOSING_REST_S = 20.0
"""Before the last chirp: coils have cooled, so what differs then is the player's level."""

REST_STEP_S, REST_STEPS = 0.02, 32
"""The rests are longer by 0 to 31 such steps, as the reel's contents say. Two clocks 500 ppm apart move a rest of 20 s
by 10 ms, half a step."""


@dataclass(frozen=True, kw_only=True)
class MadeReel:
    """A reel before it is written."""

    up_to_db_spl: float | None
    parts: tuple[ReelPart, ...]
    reel: Reel
    steps: tuple[Step, ...]
    """In the order of the parts."""


def make_reel(plan: Plan, sensitivity: Sensitivity | None, *, up_to_db_spl: float | None = None) -> MadeReel:
    """The reel of the plan: every stimulus at every level, rising, and the repeated reference; one take after another.

    up_to_db_spl   its quiet part alone: these levels, without the repeats

    All clock chirps have one drive, 10 dB below the lowest level. Without a known sensitivity the levels lie in exact
    digital steps below the highest drive. Raises UsageError when there is no such level, PlanError for a plan that
    cannot be played.
    """
    wanted = steps(plan, planned(plan, drives_dbfs(plan, sensitivity)))
    chirp_dbfs = wanted[0].item.stimulus.drive_dbfs - CHIRP_BELOW_STIMULUS_DB
    if up_to_db_spl is not None:
        wanted = tuple(one for one in wanted if one.item.level_db_spl <= up_to_db_spl and not one.name.after)
        if not wanted:
            raise UsageError(
                f"the plan has no level up to {up_to_db_spl:g} dB SPL: the lowest is {plan.levels.db_spl[0]:g}"
            )
    parts, items = _laid_out(wanted, chirp_dbfs)
    return MadeReel(up_to_db_spl=up_to_db_spl, parts=parts, reel=Reel(tuple(items)), steps=wanted)


def _laid_out(wanted: Sequence[Step], chirp_dbfs: float) -> tuple[tuple[ReelPart, ...], list[Playable]]:
    rate = wanted[0].item.stimulus.sample_rate
    chirp = signals.clock_chirp(chirp_dbfs, rate)
    longer = _fingerprint(wanted)
    items: list[Playable] = [
        _wake(WAKE_S, chirp_dbfs, rate),
        Silence(seconds=WAKE_SILENCE_S, sample_rate=rate),
    ]
    parts: list[ReelPart] = []
    for index, step in enumerate(wanted):
        rest_s = step.rest_s + longer[index] if index else None
        if rest_s:
            items += _rest(rest_s, chirp_dbfs, rate)
        framed = signals.framed(step.item.stimulus, chirp_drive_dbfs=chirp_dbfs)
        parts.append(
            ReelPart(
                stimulus_name=step.name.stimulus,
                level_db_spl=step.name.level_db_spl,
                take=step.name.take,
                after=step.name.after,
                rest_s=rest_s,
                first_item=len(items),
                end_item=len(items) + len(framed.items),
            )
        )
        items += framed.items
    items += _rest(CLOSING_REST_S + longer[0], chirp_dbfs, rate)
    items += [Silence(seconds=0.5, sample_rate=rate), chirp, Silence(seconds=1.0, sample_rate=rate)]
    return tuple(parts), items


def _wake(seconds: float, drive_dbfs: float, rate: int) -> Noise:
    return Noise(low_hz=200.0, high_hz=4000.0, seconds=seconds, sample_rate=rate, drive_dbfs=drive_dbfs)


def _rest(seconds: float, wake_dbfs: float, rate: int) -> list[Playable]:
    if seconds < LONG_REST_S:
        return [Silence(seconds=seconds, sample_rate=rate)]
    return [Silence(seconds=seconds - STAY_AWAKE_S, sample_rate=rate), _wake(STAY_AWAKE_S, wake_dbfs, rate)]


def _fingerprint(wanted: Sequence[Step]) -> list[float]:
    """By how much each rest is longer, seconds; the first belongs to the closing rest."""
    contents = [{"name": one.name.stem, **signals.describe(one.item.stimulus)} for one in wanted]
    digest = hashlib.shake_256(json.dumps(contents, sort_keys=True).encode("utf-8")).digest(len(wanted))
    return [REST_STEP_S * (byte % REST_STEPS) for byte in digest]


def highest_quiet_db_spl(plan: Plan) -> float:
    """Up to which level of the plan the quiet part may go."""
    lowest = plan.levels.db_spl[0]
    return max(level for level in plan.levels.db_spl if level <= max(QUIET_DB_SPL, lowest))


def require_may_be_written(
    folder: SessionFolder, plan: Plan, sensitivity: Sensitivity | None, *, up_to_db_spl: float | None
) -> None:
    """The louder part is written only when the quiet part was brought in and was not too loud.

    Raises UsageError for a quiet part that is not quiet, CalibrationError while no level is known, SessionError when
    the quiet part was not brought in, PlanError when the louder part would pass the ceiling.
    """
    quiet_db_spl = highest_quiet_db_spl(plan)
    if up_to_db_spl is not None:
        if up_to_db_spl > max(QUIET_DB_SPL, quiet_db_spl):
            raise UsageError(
                f"--up-to {up_to_db_spl:g} is not quiet: the quiet part of this plan goes up to "
                f"{format_level(quiet_db_spl)} dB SPL"
            )
        return
    if plan.levels.db_spl[-1] <= quiet_db_spl:
        return
    if read_calibration(folder.calibration_path()) is None:
        raise CalibrationError(
            f"{folder.root} has no calibration, so nobody can tell how loud the louder part of the reel would be: run "
            f"`distort calibrate {folder.root} --spl ...` first"
        )
    passed = read_passed(folder)
    if passed is None:
        level = format_level(quiet_db_spl)
        raise SessionError(
            f"the louder part of the reel is written when the quiet part has been brought in: write it with `distort "
            f"stimuli {folder.root} --reel --up-to {level}`, set the volume with `distort player-level {folder.root} "
            f"--target {level} --from RECORDING`, then `distort add {folder.root} --reel RECORDING`"
        )
    _require_same_plan(folder, plan, sensitivity, passed)
    if passed.highest_at_top_db_spl > plan.safety.ceiling_db_spl:
        raise PlanError(
            f"at {format_level(plan.levels.db_spl[-1])} dB SPL the loudspeaker would give "
            f"{passed.highest_at_top_db_spl:.1f} dB SPL where it is loudest, above [safety] ceiling_db_spl = "
            f"{plan.safety.ceiling_db_spl:g}: leave the level out of session.toml"
        )


def _require_same_plan(
    folder: SessionFolder, plan: Plan, sensitivity: Sensitivity | None, passed: QuietReelPassed
) -> None:
    quiet = make_reel(plan, sensitivity, up_to_db_spl=passed.up_to_db_spl)
    if layout_sha256(quiet.reel) != passed.layout_sha256:
        raise SessionError(
            f"session.toml or the drives changed since the quiet part was brought in, so its level says nothing of the "
            f"louder part: write, play and add the quiet part again (distort stimuli {folder.root} --reel --up-to "
            f"{format_level(passed.up_to_db_spl)})"
        )


def write_reel(folder: SessionFolder, made: MadeReel, *, replace: bool = False) -> SessionReel:
    """Write stimuli/reel*.wav (24 bits, dither) and its .json, unless they are there already.

    Raises SessionError when the folder does not allow it, or, unless `replace`, when another reel of that name is
    there: it may have been played already.
    """
    path = reel_path(folder, made.up_to_db_spl, ".wav")
    beside = path.with_suffix(".json")
    if beside.exists():
        there = read_reel(beside)
        same = there.reel == made.reel
        if same and path.exists() and sha256_of_file(path) == there.sha256:
            return there
        if not same and not replace:
            raise SessionError(
                f"{beside} describes another reel than session.toml now asks for; a recording of it can only be "
                f"brought in while it is there: bring it in first, then say --replace"
            )
    make_folder(path.parent)
    for step in made.steps:
        keep_piece(folder, step.item.stimulus)
    write_pieces(path, _pieces(made.reel), made.reel.sample_rate, dither_seed=DITHER_SEED)
    described = SessionReel(
        up_to_db_spl=made.up_to_db_spl,
        parts=made.parts,
        reel=made.reel,
        dither_seed=DITHER_SEED,
        file=path.name,
        sha256=sha256_of_file(path),
    )
    write_reel_sidecar(beside, described)
    return described


def _pieces(reel: Reel) -> Iterator[FloatArray]:
    for item in reel.items:
        yield np.asarray(item.samples())
