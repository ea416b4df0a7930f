"""Music that was played, kept in programme/ of the session under its hash: recordings of it are read with that alone,
whatever becomes of the user's own file."""

from pathlib import Path

from distort.errors import PlanError, RecordingError, SessionError
from distort.session.audio.audio_file import encoder
from distort.session.files.atomic import make_folder, staged
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import TRIAL_DRIVE_DBFS, programme_stimulus
from distort.session.plan.licences import may_be_shared
from distort.session.plan.music import read_mixed
from signals import Stimulus, as_a, hold_samples
from signals.held import held_samples
from signals.sampled_programme import SampledProgramme

OWN_LICENCE = "CC0-1.0"
"""Of the piece that this program makes."""


def credit_and_licence(plan: Plan, stimulus: Stimulus) -> tuple[str, str]:
    """Whose a piece of music is and its licence, as `stated_for`."""
    piece = as_a(SampledProgramme, stimulus)
    return stated_for(plan, None if piece is None else piece.samples_sha256)


def stated_for(plan: Plan, samples_sha256: str | None) -> tuple[str, str]:
    """Credit and licence of the music with these samples, "" where nobody says: of a file what the plan says, as long
    as it still names that music; None: the piece that this program makes."""
    if samples_sha256 is None:
        return "", OWN_LICENCE
    try:
        now = programme_stimulus(plan, drive_dbfs=TRIAL_DRIVE_DBFS)
    except PlanError:  # the file is gone: what was played is kept, and whose it is the plan no longer says for sure
        now = None
    named = None if now is None else as_a(SampledProgramme, now)
    if plan.programme is None or named is None or named.samples_sha256 != samples_sha256:
        return "", ""
    return plan.programme.credit, plan.programme.licence


def may_leave(plan: Plan, samples_sha256: str | None) -> bool:
    """Whether what the plan states now lets sounds of this music leave the session."""
    credit, licence = stated_for(plan, samples_sha256)
    return may_be_shared(licence, credit)


def piece_path(folder: SessionFolder, piece: SampledProgramme) -> Path:
    """programme/piece_<hash>.flac: one channel, 24 bits, at the file's own rate."""
    return folder.inside("programme", f"piece_{piece.samples_sha256[:16]}.flac")


def keep_piece(folder: SessionFolder, stimulus: Stimulus) -> None:
    """Keep the samples of a piece from a file, unless they are there; nothing for other stimuli.

    Raises SessionError when the folder does not allow it.
    """
    piece = as_a(SampledProgramme, stimulus)
    if piece is None or (path := piece_path(folder, piece)).exists():
        return
    make_folder(path.parent)
    # No dither: these are steps of 24 bits already, and the file must hold the very samples that its name tells.
    write = encoder(path, held_samples(piece.samples_sha256, what="piece of music"), piece.given_rate)
    with staged(path, replace=False) as temporary:
        write(temporary)


def give_piece(folder: SessionFolder, stimulus: Stimulus, *, played_for: str) -> None:
    """Give a piece from a file its samples, those that were kept; nothing for other stimuli.

    Raises SessionError when they are missing or are others by now.
    """
    piece = as_a(SampledProgramme, stimulus)
    if piece is not None and not piece.held:
        require_kept(folder, piece, played_for=played_for)


def require_kept(folder: SessionFolder, piece: SampledProgramme, *, played_for: str) -> None:
    """Raise SessionError when the file that keeps the samples of a piece is missing or holds others; they are given
    then."""
    path = piece_path(folder, piece)
    if not path.is_file():
        raise SessionError(f"{path} is missing: bring back the music that was played for {played_for}")
    try:
        samples, rate = read_mixed(path)
    except (PlanError, RecordingError) as error:
        raise SessionError(f"{path} cannot be read: bring back the music that was played for {played_for}") from error
    if hold_samples(samples) != piece.samples_sha256 or rate != piece.given_rate:
        raise SessionError(f"{path} is not the music that was played for {played_for}: bring that back")
