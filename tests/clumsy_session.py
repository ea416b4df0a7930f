"""The command line as a clumsy user meets it: a session, recordings of its stimuli, and what must not be."""

import csv
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import scipy.signal
import soundfile

from distort.__main__ import main

FloatArray = npt.NDArray[np.float64]
RATE = 48000
AS_THE_SWEEP = ("--stimulus", "sweep", "--level", "86")
"""How `distort add` is told what a recording of stimuli/sweep_86dB.wav is."""
NOBODY = 65534
"""User and group that own nothing, on every Linux (Linux Standard Base, from memory)."""


@dataclass(frozen=True)
class Ending:
    """How a command ended."""

    status: int
    out: str
    err: str


class CommandLine:
    """Runs commands and tells how they ended."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self.capsys = capsys

    def __call__(self, *words: object) -> Ending:
        self.capsys.readouterr()
        status = main([str(word) for word in words])
        return Ending(status, *self.capsys.readouterr())

    def done(self, *words: object) -> str:
        """What a command that must succeed prints."""
        ending = self(*words)
        assert (ending.status, ending.err) == (0, ""), ending
        return ending.out

    def refused(self, *words: object, status: int = 1, inside: Path) -> str:
        """The one line of a command that must fail, having changed nothing below `inside`."""
        before = contents(inside)
        ending = self(*words)
        assert contents(inside) == before
        assert (ending.status, ending.out) == (status, ""), ending
        lines = ending.err.splitlines()
        assert len(lines) == 1, lines
        assert lines[0].startswith("distort: ")
        assert "Traceback" not in lines[0]
        assert "fault in this program" not in lines[0]
        assert "[Errno" not in lines[0]
        return lines[0].removeprefix("distort: ")


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below `folder`, hidden and temporary ones too, and every folder."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else b"a folder"
        for path in sorted(folder.rglob("*"))
    }


@contextmanager
def unchanged(folder: Path) -> Iterator[None]:
    """Whatever runs in between must leave every file below `folder` as it is."""
    before = contents(folder)
    yield
    assert contents(folder) == before


def shorten(folder: Path, **values: str) -> None:
    """Give keys of session.toml other values; by default short stimuli: a sweep of 3.2 s is enough for ten orders."""
    path = folder / "session.toml"
    lines = path.read_text(encoding="utf-8").splitlines()
    quick = {
        "seconds": "3.2",
        "short": "false",
        "repeat_reference": "false",
        "lines_per_decade": "3",
        "period_s": "0.5",
    }
    for key, value in (quick | values).items():
        found = [index for index, line in enumerate(lines) if line.startswith(f"{key} = ")]
        assert len(found) == 1, key
        lines[found[0]] = f"{key} = {value}"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def heard(
    stimulus: Path, *, noise: float = 1e-4, before_s: float = 1.0, after_s: float = 1.0, seed: int = 1
) -> FloatArray:
    """A stimulus file through a curve that bends it by some per cent and a room of 20 ms, with white noise."""
    random = np.random.default_rng(seed)
    played, _ = soundfile.read(stimulus)
    room = np.zeros(1000)
    room[40] = 0.4
    room[41:] = 0.02 * random.standard_normal(959) * np.exp(-np.arange(959) / 100.0)
    bent = played + 0.05 * np.square(played) + 0.03 * played**3
    quiet = np.zeros(round(before_s * RATE)), np.zeros(round(after_s * RATE))
    sound = np.concatenate([quiet[0], scipy.signal.oaconvolve(bent, room), quiet[1]])
    return np.asarray(sound + noise * random.standard_normal(sound.size))


def table(path: Path) -> dict[str, FloatArray]:
    """A result file by column; empty cells are NaN."""
    with path.open(encoding="utf-8", newline="") as file:
        header, *rows = csv.reader(file)
    columns = zip(*rows, strict=True)
    return {
        name: np.array([float(cell) if cell else np.nan for cell in cells])
        for name, cells in zip(header, columns, strict=True)
    }


@contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """Nobody may write below `folder` now; root, whom no permission stops, becomes a user that owns nothing."""
    everything = [folder, *folder.rglob("*")]
    for path in everything:
        path.chmod(0o555 if path.is_dir() else 0o444)
    root = os.geteuid() == 0
    if root:
        os.setegid(NOBODY)
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)
            os.setegid(0)
        for path in everything:
            path.chmod(0o755 if path.is_dir() else 0o644)
