"""Memory that the two commands take which hold a whole recording, as README states it: copies of its samples."""

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.benchmarks.long_heating import write
from tests.devices.stressed import recording_of, session_at

pytestmark = pytest.mark.benchmark

RATE = 48000
SHORT_S, LONG_S = 3.2, 40.0

SMALL_PARENT = """
import os, sys
child = os.spawnv(os.P_NOWAIT, sys.argv[1], sys.argv[1:])
_, status, used = os.wait4(child, 0)
print(used.ru_maxrss, file=sys.stderr)
sys.exit(os.waitstatus_to_exitcode(status))
"""


@dataclass(frozen=True)
class Took:
    """Peak resident memory of each command, and what the samples take as float64; bytes."""

    add: int
    analyze: int
    samples: int


def took(folder: Path, seconds: float) -> Took:
    session = session_at(
        folder / f"{seconds:g}", RATE, seconds=seconds, orders="4", period_s="0.5", stop_hz=str(0.458 * RATE)
    )
    samples = recording_of(session)
    samples += 1e-6 * np.random.default_rng(1).standard_normal(samples.size)
    take = folder / f"{seconds:g}.wav"
    soundfile.write(take, samples, RATE, subtype="PCM_24")
    return Took(
        add=peak_bytes("add", str(session), str(take), "--stimulus", "sweep", "--level", "86"),
        analyze=peak_bytes("analyze", str(session)),
        samples=8 * samples.size,
    )


def peak_bytes(*words: str, module: str = "distort") -> int:
    """Of a process of its own; the largest it ever held, as the kernel counts it (in KiB, as Linux does). A process
    counts what its parent held when it was started, so a parent that holds next to nothing starts it."""
    command = [sys.executable, "-S", "-c", SMALL_PARENT, sys.executable, "-m", module, *words]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return 1024 * int(done.stderr.split()[-1])


@pytest.mark.skipif(sys.platform != "linux", reason="other systems count memory in other units")
def test_a_recording_is_held_in_so_many_copies_and_no_more(tmp_path: Path) -> None:
    """The longer recording against the shorter: what the program itself takes falls out."""
    short, long = (took(tmp_path, seconds) for seconds in (SHORT_S, LONG_S))
    more = long.samples - short.samples
    copies = (long.add - short.add) / more, (long.analyze - short.analyze) / more
    print(f"\nof {LONG_S:g} s: add {copies[0]:.1f} copies, analyze {copies[1]:.1f}")
    assert copies[0] < 30.0
    assert copies[1] < 27.0


SHORT_MIN, LONG_MIN = 2.0, 10.0


@pytest.mark.skipif(sys.platform != "linux", reason="other systems count memory in other units")
def test_a_long_heating_is_read_in_stretches_and_never_held(tmp_path: Path) -> None:
    """Ten minutes against two: held as float64, the eight more would take one copy of their samples. What is left for
    every period is its power in each third octave, 1 part in 400 here."""
    peaks, samples = [], []
    for minutes in (SHORT_MIN, LONG_MIN):
        path = tmp_path / f"{minutes:g}.flac"
        samples.append(8 * write(path, minutes))
        peaks.append(peak_bytes(str(path), str(minutes), module="tests.benchmarks.long_heating"))
    copies = (peaks[1] - peaks[0]) / (samples[1] - samples[0])
    print(f"\nof {LONG_MIN:g} min of heating: {copies:.3f} copies, in {peaks[0] / 1e6:.0f} and {peaks[1] / 1e6:.0f} MB")
    assert copies < 0.1  # the allocator's own scatter is some hundredths
