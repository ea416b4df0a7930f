"""Session folders as a careless user leaves them or a stranger hands them over: links, pipes, endless files, notes.

`whole_session` makes one that holds every kind of file that commands write; `Spoiler` puts into a copy of it what does
not belong there, drawn from a seed. What must not leave its place bears a canary.
"""

import json
import os
import random
import shutil
import stat
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from tests.blank_figures import unmade_figures
from tests.clumsy_session import AS_THE_SWEEP, RATE, heard, shorten

OUTSIDE, OWN = b"canary-from-outside", b"canary-of-the-user"
"""In every file outside the session, and in every file of the user's own in it."""

NUMBER = b"77.7131"
"""In tables outside, where no word can stand. No result here reaches it."""

NAME = b"Monitor A"
LABEL = "spring-edition"
CONDITIONS = ("stand", "desk")

FOLDERS = (
    *("", "recordings", "recordings/stand", "calibration", "stimuli", "loopback", "loopback/stand"),
    *("results", "results/stand", "results/compare", "results/figures", "results/figures/dark"),
    *("frozen", f"frozen/{LABEL}", f"frozen/{LABEL}/results/stand", f"frozen/{LABEL}/inputs/recordings/stand"),
)
"""Where something is added."""

FREE_NAMES = ("notes.txt", "notes.csv", "notes.json", "photo.png", "keys & alarm.html", "old.flac", "take 2.wav")
"""Names that no command gives."""

NAMES_OF_OURS = {
    "recordings/stand": ("sweep_76dB_take3.wav", "sweep_96dB.json", "multitone_86dB.flac"),
    "calibration": ("calibrator_114dB.wav", "closing_94dB.flac", "drive_found_20260101T000000.json", "closing.json"),
    "stimuli": ("made-elsewhere_0123456789abcdef.wav", "sweep_91dB.json", "reel.json"),
    "loopback/stand": ("sweep_76dB.flac", "multitone_86dB.flac"),
    "results/stand": ("response_91dB.csv", "multitone_86dB.csv"),
    "results/compare": ("stand__garden.json", "stand__garden.csv", "stand__desk_thd_71dB.png", "findings.json"),
    "results/figures": ("response_stand_91dB.png", "harmonics_desk_99dB.svg"),
    f"frozen/{LABEL}/results/stand": ("response_91dB.csv",),
}
"""Names that a command might give, and here gave to nothing."""


def whole_session(root: Path) -> Path:
    """A session of two conditions, calibrated, with a loopback and responses measured elsewhere, and all made of it."""
    from distort.__main__ import main

    def done(*words: object) -> None:
        assert main([str(word) for word in words]) == 0, words

    done("new", root, "--levels", "86", "--name", NAME.decode())
    shorten(root, seconds="1.6", orders="3", conditions=json.dumps(CONDITIONS))
    plan = root / "session.toml"
    text = plan.read_text(encoding="utf-8")
    for key, value in (
        ("response_file", '"calibration/microphone.txt"'),
        ("response_is", '"response"'),
        ("response_files", '["free-field.txt"]'),
    ):
        (line,) = [line for line in text.splitlines() if line.startswith(f"# {key} = ")]
        text = text.replace(line, f"{key} = {value}")
    plan.write_text(text + f"# {OWN.decode()}\n", encoding="utf-8")
    (root / "calibration").mkdir()
    for path in (root / "calibration/microphone.txt", root / "free-field.txt"):
        path.write_text("".join(f"{10 * 1.5**n:.1f}\t{n / 10}\n" for n in range(20)), encoding="utf-8")
    done("stimuli", root)
    beside = root.parent
    soundfile.write(beside / "tone.wav", 0.03 * np.sin(2.0 * np.pi * 1000.0 * np.arange(4 * RATE) / RATE), RATE)
    done("calibrate", root, "--spl", "94", "--from", beside / "tone.wav")
    done("calibrate", root, "--spl", "94", "--from", beside / "tone.wav", "--post-check")
    played = root / "stimuli/sweep_86dB.wav"
    for seed, condition in enumerate(CONDITIONS):
        soundfile.write(beside / "take.wav", heard(played, seed=seed), RATE, subtype="PCM_24")
        done("add", root, beside / "take.wav", *AS_THE_SWEEP, "--condition", condition, "--playback-change-db", "0")
    (root / "loopback/stand").mkdir(parents=True)
    soundfile.write(root / "loopback/stand/sweep_86dB.flac", soundfile.read(played)[0], RATE, subtype="PCM_24")
    done("analyze", root)
    done("compare", f"{root}:stand", f"{root}:desk")
    with unmade_figures():
        done("report", root, "--dark", "--pdf")
    done("freeze", root, LABEL)
    return root


def twin(content: bytes, suffix: str, canary: bytes) -> bytes:
    """A file that can be taken for the one that holds `content`, with a canary in it."""
    match suffix:
        case ".csv":
            lines = content.splitlines()
            cells = lines[-1].split(b",")
            return b"\n".join([*lines[:-1], b",".join([cells[0], NUMBER, *cells[2:]]), b""])
        case ".json" | ".toml":
            return content.replace(NAME, canary) if NAME in content else canary
        case ".txt":
            return content + b"# " + canary
        case ".svg" | ".html":
            return content + b"<!-- " + canary + b" -->"
    return content + canary


class Spoiler:
    """Spoils one session; `planted` counts what was put where it does not belong."""

    def __init__(self, root: Path, *, whole: Path, outside: Path, chance: random.Random) -> None:
        self.root, self.whole, self.outside, self.chance = root, whole, outside, chance
        self.planted: Counter[str] = Counter()
        (root / "diary.txt").write_bytes(OWN)
        self.things: dict[str, Callable[[Path], object]] = {
            "own file": lambda path: path.write_bytes(OWN),
            "link to a file outside": lambda path: path.symlink_to(outside / "secret.txt"),
            "link to a folder outside": lambda path: path.symlink_to(outside / "twins"),
            "link to an own file": lambda path: path.symlink_to(root / "diary.txt"),
            "link to itself": lambda path: path.symlink_to(path.name),
            "link to an endless file": lambda path: path.symlink_to("/dev/zero"),
            "pipe": os.mkfifo,
            "socket": lambda path: os.mknod(path, 0o600 | stat.S_IFSOCK),
            "file of 2 TB": lambda path: _of_size(path, 2 * 10**12),
            "file of 3 GB": lambda path: _of_size(path, 3 * 10**9),
            "folder": _folder,
        }

    def careless(self) -> None:
        """Add things that no command would call so."""
        for _ in range(self.chance.randint(2, 8)):
            folder = self.chance.choice(FOLDERS)
            path = self.root / folder / self.chance.choice(FREE_NAMES)
            # a folder in recordings/ is a condition, and refused when none can be called so
            kinds = [kind for kind in self.things if folder != "recordings" or "folder" not in kind]
            self._put(self.chance.choice(kinds), path)

    def hostile(self) -> None:
        """Add, replace, and name in records what does not belong there."""
        self.careless()
        ways = [self._add_one_of_ours, self._replace, self._replace, self._replace_folder, self._name]
        for _ in range(self.chance.randint(1, 4)):
            self.chance.choice(ways)()

    def _put(self, kind: str, path: Path) -> None:
        if not os.path.lexists(path) and self._is_inside(path):
            self.things[kind](path)
            self.planted[kind] += 1

    def _is_inside(self, path: Path) -> bool:
        """Whether something may be put there: an earlier thing may have taken the place of its folder."""
        return path.parent.is_dir() and path.parent.resolve().is_relative_to(self.root)

    def _add_one_of_ours(self) -> None:
        folder = self.chance.choice(sorted(NAMES_OF_OURS))
        path = self.root / folder / self.chance.choice(NAMES_OF_OURS[folder])
        self._put(self.chance.choice(sorted(self.things)), path)

    def _replace(self) -> None:
        """A file that a command wrote by something else: often by what can be taken for it."""
        files = [path for path in sorted(self.whole.rglob("*")) if path.is_file()]
        original = self.chance.choice(files)
        name = original.relative_to(self.whole)
        path = self.root / name
        if not self._is_inside(path) or (path.is_dir() and not path.is_symlink()):
            return
        path.unlink(missing_ok=True)
        match self.chance.choice(["twin outside", "own twin", "thing"]):
            case "twin outside":
                path.symlink_to(self.outside / "twins" / name)
                self.planted["link to a twin outside"] += 1
            case "own twin" if _told_from_a_twin(name):
                path.write_bytes(twin(original.read_bytes(), path.suffix, OWN))
                self.planted["own twin of a file"] += 1
            case _:
                self._put(self.chance.choice(sorted(self.things)), path)

    def _replace_folder(self) -> None:
        """A whole folder by a link to its twin outside, or by something that is none."""
        folder = self.chance.choice(FOLDERS[1:])
        path = self.root / folder
        if path.is_symlink() or not path.is_dir() or not self._is_inside(path):
            return
        shutil.rmtree(path)
        if self.chance.random() < 0.6:
            path.symlink_to(self.outside / "twins" / folder)
            self.planted["link to a twin folder outside"] += 1
        else:
            self._put(self.chance.choice(sorted(self.things)), path)

    def _name(self) -> None:
        """Name what lies outside in a record of the session, with its right hash where the record states one."""
        from distort.session.files.hashing import sha256_of_file
        from distort.session.results.comparison_files import SEAL, seal

        secret = self.outside / "secret.txt"
        up = os.path.relpath(secret, self.root)
        of_figure = {"name": f"../../{up}", "sha256": sha256_of_file(secret)}
        of_file = {"file": f"../../{up}", "sha256": sha256_of_file(secret)}
        frozen = self.chance.choice(["results", "inputs"])
        edits: dict[str, Callable[[dict[str, Any]], object]] = {
            "results/figures/drawn.json": lambda said: said["figures"][0]["files"].append(of_figure),
            f"frozen/{LABEL}/frozen.json": lambda said: said[frozen].append(of_file),
            "results/compare/stand__desk.json": lambda said: said["files"].append(of_file),
            "results/stand/findings.json": lambda said: said["recordings"][0].update(of_file | {"file": up}),
            "calibration/microphone.json": lambda said: said.update(file=up),
            "results/analysed.json": lambda said: said["results"].append(of_file | {"file": up}),
        }
        name = self.chance.choice([*sorted(edits), "session.toml"])
        path, original = self.root / name, (self.whole / name).read_bytes()
        if not self._is_inside(path) or not path.is_file() or path.is_symlink() or path.read_bytes() != original:
            return
        if name == "session.toml":
            path.write_bytes(original.replace(b"free-field.txt", self.chance.choice([up, "diary.txt"]).encode()))
        else:
            said = json.loads(original)
            edits[name](said)
            said |= {SEAL: seal(said)} if SEAL in said else {}
            path.write_text(json.dumps(said), encoding="utf-8")
        self.planted["outside named in a record"] += 1


def make_outside(place: Path, whole: Path) -> Path:
    """A folder beside the session: a secret, and a twin of every file of the session."""
    outside = place / "outside"
    outside.mkdir()
    (outside / "secret.txt").write_bytes(OUTSIDE)
    for path in sorted(whole.rglob("*")):
        if path.is_file():
            copy = outside / "twins" / path.relative_to(whole)
            copy.parent.mkdir(parents=True, exist_ok=True)
            copy.write_bytes(twin(path.read_bytes(), path.suffix, OUTSIDE))
    return outside


def _told_from_a_twin(name: Path) -> bool:
    """Whether a record holds the hash of a file: an edited table, sidecar or plan is the user's word, and is told."""
    if name.parts[0] == "frozen":
        return name.name != "frozen.json" and name.suffix != ".toml"
    return name.suffix in {".png", ".svg", ".pdf", ".html", ".wav"} or name.parts[:2] == ("results", "compare")


def _of_size(path: Path, size: int) -> None:
    """A file that says it holds so much; on disk it is one hole."""
    path.touch()
    os.truncate(path, size)


def _folder(path: Path) -> None:
    path.mkdir()
    (path / "notes.txt").write_bytes(OWN)
