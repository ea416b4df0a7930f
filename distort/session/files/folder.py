"""Where things lie in a session folder. Nothing outside it can be reached through these paths."""

import os
from dataclasses import dataclass, replace
from pathlib import Path

from distort.errors import SessionError, shown
from distort.session.files.names import (
    MOST_TAKES,
    RecordingName,
    check_condition,
    format_level,
    may_be_condition,
    parse_stem,
    stimulus_stem,
)
from distort.session.files.portable import leads_out
from distort.session.files.reading import opened
from distort.system import may_lead_elsewhere

AUDIO_SUFFIXES = (".wav", ".flac")
PLAN_FILE = "session.toml"
LOOPBACK = "loopback"
"""Folder beside recordings/, where `measure` keeps what a cable from the output brought back."""


@dataclass(frozen=True, kw_only=True)
class RecordingFiles:
    """One recording on disk. `sidecar_path` is where its sidecar belongs, whether or not it is there."""

    session: "SessionFolder"
    condition: str
    name: RecordingName
    audio_path: Path
    sidecar_path: Path

    @property
    def has_sidecar(self) -> bool:
        """Whether the sidecar is there; a recording is analysed only with it."""
        return self.sidecar_path.is_file()

    @property
    def in_session(self) -> str:
        """The audio file's name relative to the session, with `/`."""
        return f"recordings/{self.condition}/{self.audio_path.name}"

    @property
    def loopback_path(self) -> Path:
        """Where that belongs which a cable from the output brought back meanwhile, whether or not it is there."""
        return self.session.loopback_path(self.condition, self.name)


@dataclass(frozen=True)
class SessionFolder:
    """A session: one loudspeaker in one set-up. Making this object touches no file."""

    root: Path

    @property
    def plan_path(self) -> Path:
        """session.toml"""
        return self.root / PLAN_FILE

    def require(self) -> None:
        """Raises SessionError when this is not a session folder."""
        if not os.path.lexists(self.root):
            raise SessionError(
                f"there is no folder {self.root}: look at its name, or make a session with `distort new`"
            )
        if not self.root.is_dir():
            raise SessionError(f"{self.root} is not a folder: make a session with `distort new`")
        if not os.path.lexists(self.plan_path):
            raise SessionError(f"{self.root} holds no {PLAN_FILE}: make a session with `distort new`")
        with opened(self.inside(PLAN_FILE)):
            pass

    def inside(self, *parts: str) -> Path:
        """The path `parts` below the session. Raises SessionError when it leads out of it."""
        for part in parts:
            if leads_out(part) or "\0" in part:
                raise SessionError(f"{shown(part)} leads out of the session {self.root}: name a file inside it")
        path = self.root.joinpath(*parts)
        if self._passes_a_link(path) and not _real(path).is_relative_to(_real(self.root)):
            raise SessionError(f"{path} is a link that leads out of the session {self.root}: copy the file into it")
        return path

    def _passes_a_link(self, path: Path) -> bool:
        """Whether a step from the session to `path` below it is a link, or cannot be looked at. Where none is, the path
        is what its name says, and the steps that lead to the session need not be followed for each of its files."""
        step = os.fspath(self.root)
        for name in path.relative_to(self.root).parts:
            step = os.path.join(step, name)
            try:
                if may_lead_elsewhere(step):
                    return True
            except FileNotFoundError:
                return False
            except OSError:
                return True
        return False

    def files_in(self, *parts: str) -> tuple[Path, ...]:
        """Files right in the folder `parts` of the session, sorted; none where there is no such folder.

        Hidden files, folders, pipes, links that lead out and the like are not among them. Raises SessionError when the
        folder itself leads out.
        """
        folder, root = self.inside(*parts), _real(self.root)
        if not folder.is_dir():
            return ()
        return tuple(
            path
            for path in sorted(folder.iterdir())
            if not path.name.startswith(".") and path.is_file() and _real(path).is_relative_to(root)
        )

    def stimulus_path(self, stimulus: str, level_db_spl: float, suffix: str = ".wav") -> Path:
        """stimuli/sweep_86dB.wav, or with suffix ".json" its sidecar. Raises SessionError for an impossible name."""
        name = RecordingName(stimulus=stimulus, level_db_spl=level_db_spl)
        return self.inside("stimuli", name.stem + suffix)

    def recordings_folder(self, condition: str) -> Path:
        """recordings/<condition>. Raises SessionError when no condition can be called so."""
        return self.inside("recordings", check_condition(condition))

    def recording(self, condition: str, name: RecordingName, suffix: str = ".flac") -> RecordingFiles:
        """Where a recording and its sidecar lie, or would lie."""
        self.recordings_folder(condition)
        if suffix not in AUDIO_SUFFIXES:
            raise SessionError(f"a recording ends in {' or '.join(AUDIO_SUFFIXES)}, not {shown(suffix)}")
        return RecordingFiles(
            session=self,
            condition=condition,
            name=name,
            audio_path=self.inside("recordings", condition, name.stem + suffix),
            sidecar_path=self.inside("recordings", condition, name.stem + ".json"),
        )

    def recordings(self, condition: str) -> tuple[RecordingFiles, ...]:
        """All recordings of a condition: by stimulus, level, repeats after the ladder last, take.

        Raises SessionError when one recording is there twice, as WAV and as FLAC.
        """
        found = [
            self.recording(condition, name, path.suffix)
            for path in self._files(condition)
            if path.suffix in AUDIO_SUFFIXES and (name := parse_stem(path.stem)) is not None
        ]
        stems = [files.name.stem for files in found]
        for stem in stems:
            if stems.count(stem) > 1:
                raise SessionError(
                    f"{self.recordings_folder(condition)} holds {stem} twice, as WAV and as FLAC: move one away"
                )
        return tuple(sorted(found, key=_order))

    def sidecars_alone(self, condition: str) -> tuple[Path, ...]:
        """Sidecars of recordings whose audio is not there: it was taken away, or a kill came before it was kept."""
        kept = {files.sidecar_path for files in self.recordings(condition)}
        return tuple(
            path
            for path in self._files(condition)
            if path.suffix == ".json" and path not in kept and parse_stem(path.stem) is not None
        )

    def conditions_recorded(self) -> tuple[str, ...]:
        """Conditions of which a folder of recordings exists, in alphabetical order."""
        folder = self.inside("recordings")
        if not folder.is_dir():
            return ()
        names = sorted(path.name for path in folder.iterdir() if path.is_dir() and not path.name.startswith("."))
        return tuple(check_condition(name) for name in names)

    def conditions_analysed(self) -> tuple[str, ...]:
        """Conditions that have results, in alphabetical order; a folder that no condition can be called is not ours."""
        results = self.inside("results")
        if not results.is_dir():
            return ()
        found = sorted(path.parent.name for path in results.glob("*/findings.json"))
        return tuple(name for name in found if may_be_condition(name))

    def next_take(self, condition: str, name: RecordingName) -> RecordingName:
        """`name` with the lowest take that is above every one on disk. Raises SessionError after take 99."""
        taken = [
            files.name.take
            for files in self.recordings(condition)
            if replace(files.name, take=1) == replace(name, take=1)
        ]
        take = max(taken, default=0) + 1
        if take > MOST_TAKES:
            raise SessionError(f"{name.stem} in {condition} has {MOST_TAKES} takes already: move some away")
        return replace(name, take=take)

    def calibration_path(self, file: str = "microphone.json") -> Path:
        """A file of calibration/."""
        return self.inside("calibration", file)

    def loopback_path(self, condition: str, name: RecordingName) -> Path:
        """loopback/<condition>/<recording>.flac: what a cable from the output brought back while it was recorded."""
        return self.inside(LOOPBACK, check_condition(condition), f"{name.stem}.flac")

    def results_folder(self, condition: str) -> Path:
        """results/<condition>. Raises SessionError when no condition can be called so."""
        return self.inside("results", check_condition(condition))

    def level_result_path(self, condition: str, kind: str, level_db_spl: float) -> Path:
        """results/<condition>/<kind>_<L>dB.csv, `kind` being "response", "harmonics" or "multitone"."""
        check_condition(condition)
        return self.inside("results", condition, f"{stimulus_stem(kind, level_db_spl)}.csv")

    def compression_path(self, condition: str, source: str) -> Path:
        """results/<condition>/compression_<source>.csv, `source` being "sweep" or "multitone"."""
        return self.inside("results", check_condition(condition), f"compression_{source}.csv")

    def findings_path(self, condition: str) -> Path:
        """results/<condition>/findings.json"""
        check_condition(condition)
        return self.inside("results", condition, "findings.json")

    def figures_folder(self, *, dark: bool = False, form: str | None = None) -> Path:
        """results/figures, or in it the folder of a format, or of those on a dark ground."""
        return self.inside("results", "figures", *([] if form is None else [form]), *(["dark"] if dark else []))

    def _files(self, condition: str) -> list[Path]:
        """Files of a condition's recordings, sorted; those that begin with a dot are not ours, or not finished."""
        folder = self.recordings_folder(condition)
        if not folder.is_dir():
            return []
        return sorted(path for path in folder.iterdir() if not path.name.startswith(".") and not path.is_dir())


def _order(files: RecordingFiles) -> tuple[str, bool, float, int]:
    return (files.name.stimulus, files.name.after, files.name.level_db_spl, files.name.take)


def _real(path: Path) -> Path:
    """`path` with every link followed, as far as it exists."""
    return Path(os.path.realpath(path))


__all__ = ["AUDIO_SUFFIXES", "LOOPBACK", "PLAN_FILE", "RecordingFiles", "SessionFolder", "format_level"]
