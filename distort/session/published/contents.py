"""What of a session goes to its readers: files that a record of the session names, each as it says it was written.

Nothing is taken because it lies in a folder: neither the user's own files nor what a link leads to leave the session.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from distort.errors import SessionError
from distort.session.files.folder import AUDIO_SUFFIXES, PLAN_FILE, RecordingFiles, SessionFolder
from distort.session.files.hashing import is_file_of, sha256_of_file
from distort.session.plan.keys import Plan
from distort.session.published.frozen import INPUTS, KEPT_INPUTS, RECORD, frozen_labels, read_frozen
from distort.session.published.written_inputs import written_inputs
from distort.session.recordings.pieces import may_leave, piece_path, require_kept
from distort.session.recordings.stored import load_recording
from distort.session.results.across_results import across_path, read_across
from distort.session.results.blind_page_file import blind_note, blind_path, note_path
from distort.session.results.comparison_files import read_comparisons
from distort.session.results.condition_results import read_results, result_paths
from distort.session.results.drawn_files import RECORD as DRAWN
from distort.session.results.drawn_files import read_record
from distort.session.results.inputs import FileHash, name_in
from distort.session.results.page_file import NOTE, page_as_written, page_path
from signals import as_a
from signals.sampled_programme import SampledProgramme

_FIGURE = re.compile(r"[^/\\]+\.(png|svg|pdf)")
_FROZEN_RESULT = re.compile(r"results/[^/\\]+/[^/\\]+\.(csv|json)")
"""What the records of figures and of frozen results may name."""


@dataclass(frozen=True, kw_only=True)
class Contents:
    """What goes out."""

    files: tuple[FileHash, ...]
    """Sorted by name; session.toml is not among them."""
    left_out: tuple[str, ...]
    """Figures, comparisons and the page, where they are there but not as they were written."""
    unlicensed: tuple[str, ...]
    """Recordings of music, and pages that play it, which no stated licence permits to share."""


def contents_of(folder: SessionFolder, plan: Plan) -> Contents:
    """What of the session goes to its readers.

    Raises SessionError when an input, a table or what was frozen is not what was written, or leads out of the session,
    and RecordingError for a loopback that is no audio.
    """
    hashes = {one.file: one.sha256 for one in written_inputs(folder, plan) if one.file != PLAN_FILE}
    hashes |= {name_in(folder, path): sha256_of_file(path) for path in _pieces(folder, plan)}
    unlicensed = {name for name in _of_music_not_to_share(folder, plan) if hashes.pop(name, None) is not None}
    hashes |= {name_in(folder, path): sha256_of_file(path) for path in (*_results(folder), *_frozen(folder))}
    unlicensed = {name for name in unlicensed if Path(name).suffix in AUDIO_SUFFIXES}
    left_out = []
    for path, note, licensed in _pages(folder, plan):
        if licensed:
            hashes |= {name_in(folder, one): sha256_of_file(one) for one in (path, note)}
        else:
            unlicensed.add(name_in(folder, path))
    for path, digest in _made(folder):
        if digest is None:
            left_out.append(name_in(folder, path))
        else:
            hashes[name_in(folder, path)] = digest
    return Contents(
        files=tuple(FileHash(file=name, sha256=hashes[name]) for name in sorted(hashes)),
        left_out=tuple(sorted(left_out)),
        unlicensed=tuple(sorted(unlicensed)),
    )


def _music(folder: SessionFolder) -> Iterator[tuple[RecordingFiles, SampledProgramme]]:
    """Recordings of music from a file, with what was played."""
    for condition in folder.conditions_recorded():
        for files in folder.recordings(condition):
            if (
                files.has_sidecar
                and (piece := as_a(SampledProgramme, load_recording(files).sidecar.stimulus)) is not None
            ):
                yield files, piece


def _pieces(folder: SessionFolder, plan: Plan) -> Iterator[Path]:
    """Music that was played, without which its recordings cannot be analysed, where it may be shared: each file once,
    and none that holds other music by now, of which nobody stated anything."""
    kept = {piece_path(folder, piece): (files, piece) for files, piece in _music(folder)}
    for path, (files, piece) in kept.items():
        if path.is_file() and may_leave(plan, piece.samples_sha256):
            require_kept(folder, piece, played_for=files.in_session)
            yield path


def _of_music_not_to_share(folder: SessionFolder, plan: Plan) -> Iterator[str]:
    """Names of its recordings, sidecars and loopbacks."""
    for files, piece in _music(folder):
        if not may_leave(plan, piece.samples_sha256):
            yield from (name_in(folder, one) for one in (files.audio_path, files.sidecar_path, files.loopback_path))


def _results(folder: SessionFolder) -> Iterator[Path]:
    """Tables and findings; each is read, so that it holds what it must."""
    for condition in folder.conditions_analysed():
        yield from result_paths(folder, read_results(folder, condition).findings)
    if read_across(folder):
        yield across_path(folder)


def _made(folder: SessionFolder) -> Iterator[tuple[Path, str | None]]:
    """What was made of the results, with its SHA-256; None: it is there, and not as it was written."""
    if (page := page_path(folder)).exists() and page_as_written(folder) is None:
        yield page, None
    figures = read_record(folder.figures_folder()).figures
    if figures:
        yield _as_it_is(folder.inside("results", "figures", DRAWN))
    for one in (file for figure in figures for file in figure.files):
        if _FIGURE.fullmatch(one.name) and (path := folder.inside("results", "figures", one.name)).exists():
            yield path, one.sha256 if is_file_of(path, one.sha256) else None
    compared = read_comparisons(folder)
    for comparison in compared.each:
        yield from map(_as_it_is, (comparison.document, *comparison.files))
    yield from ((path, None) for path in compared.left_out)


def _pages(folder: SessionFolder, plan: Plan) -> Iterator[tuple[Path, Path, bool]]:
    """Pages that are as they were written, each with its note, and whether the plan lets out the music in it."""
    if (page := page_as_written(folder)) is not None:
        yield page_path(folder), folder.inside("results", NOTE), _all_may_leave(plan, page.music)
    if (blind := blind_note(folder)) is not None:
        yield blind_path(folder), note_path(folder), blind.licensed and _all_may_leave(plan, blind.music)


def _all_may_leave(plan: Plan, music: Sequence[str | None]) -> bool:
    return all(may_leave(plan, one) for one in music)


def _frozen(folder: SessionFolder) -> Iterator[Path]:
    """What was kept for publications; of session.toml, which has its comments still, the hash alone."""
    for label in frozen_labels(folder):
        frozen = read_frozen(folder, label)
        yield folder.inside("frozen", label, RECORD)
        for one in frozen.results:
            if _FROZEN_RESULT.fullmatch(one.file):
                yield folder.inside("frozen", label, one.file)
        for one in frozen.inputs:
            path = folder.inside("frozen", label, INPUTS, one.file)
            if one.file.endswith(KEPT_INPUTS) and one.file != PLAN_FILE and path.exists():
                if not is_file_of(path, one.sha256):
                    raise SessionError(f"{path} was changed since it was frozen: what was published is lost there")
                yield path


def _as_it_is(path: Path) -> tuple[Path, str]:
    return path, sha256_of_file(path)
