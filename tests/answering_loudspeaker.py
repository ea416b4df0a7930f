"""The answering loudspeaker as a program, between two sinks of a sound server.

It hears what is played into channel 1 of `amplifier`, and plays into `microphone` what a microphone would hear of it:
on channel 1 the answer, on channel 2 what was played, as a cable would bring it back. One line on its output says that
it is ready.

    python -m tests.answering_loudspeaker '{"gain_db": -14.0}'
"""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np

from tests.devices.answering import RATE, Answering, Playing

BLOCK = 480

AHEAD_S = 0.15
"""Silence that lies ready at the output, so that a late block leaves no gap."""

FORMAT = ("--format=float32le", f"--rate={RATE}", "--latency-msec=20")


def answer(device: Answering) -> None:
    """Answer until whoever listens or plays is gone."""
    ear = subprocess.Popen(
        ["parec", "--device=amplifier.monitor", "--channels=2", *FORMAT], stdout=subprocess.PIPE, bufsize=0
    )
    mouth = subprocess.Popen(
        ["pacat", "--device=microphone", "--channels=2", *FORMAT[:2], "--latency-msec=200"], stdin=subprocess.PIPE
    )
    assert ear.stdout is not None
    assert mouth.stdin is not None
    playing = Playing(device)
    try:
        read_exactly(ear.stdout.fileno(), 8 * BLOCK)
        sys.stdout.write("ready\n")
        sys.stdout.flush()
        mouth.stdin.write(np.zeros((round(AHEAD_S * RATE), 2), np.float32).tobytes())
        while piece := read_exactly(ear.stdout.fileno(), 8 * BLOCK):
            played = np.frombuffer(piece, np.float32)[::2]
            both = np.stack([playing(played.astype(np.float64)), played], axis=1)
            mouth.stdin.write(both.astype(np.float32).tobytes())
            mouth.stdin.flush()
    finally:
        for program in (ear, mouth):
            program.kill()
            program.wait()


def read_exactly(pipe: int, size: int) -> bytes:
    """`size` bytes; none at the end of the pipe."""
    pieces = b""
    while len(pieces) < size:
        piece = os.read(pipe, size - len(pieces))
        if not piece:
            return b""
        pieces += piece
    return pieces


@contextmanager
def loudspeaker(**parameters: float) -> Iterator[Answering]:
    """Such a program runs while the body does."""
    device = Answering(**parameters)
    words = [sys.executable, "-m", "tests.answering_loudspeaker", json.dumps(parameters)]
    program = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, start_new_session=True)
    assert program.stdout is not None
    try:
        assert program.stdout.readline() == "ready\n"
        yield device
    finally:
        os.killpg(program.pid, 15)  # with its ear and its mouth
        program.wait()
        program.stdout.close()


if __name__ == "__main__":
    answer(Answering(**json.loads(sys.argv[1])))
