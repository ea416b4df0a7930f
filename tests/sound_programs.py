"""Programs beside the one under test that play into the virtual sound card, or listen to it."""

import os
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import numpy as np

RATE = 48000


@contextmanager
def calibrator_on(level_dbfs: float, *, sink: str = "wire") -> Iterator[None]:
    """A tone of 1 kHz on both channels of a sink until the body ends."""
    second = np.repeat(tone(level_dbfs, seconds=1.0).astype(np.float32), 2).tobytes()
    words = ["pacat", f"--device={sink}", "--format=float32le", f"--rate={RATE}", "--channels=2", "--latency-msec=100"]
    player = subprocess.Popen(words, stdin=subprocess.PIPE)
    pipe = player.stdin
    assert pipe is not None

    def feed() -> None:
        with suppress(OSError):  # the player has been stopped
            while True:
                pipe.write(second)

    feeding = threading.Thread(target=feed)
    feeding.start()
    try:
        yield
    finally:
        player.kill()
        player.wait()
        feeding.join()
        with suppress(BrokenPipeError):  # what was still to be written has nobody to read it
            pipe.close()


def tone(level_dbfs: float, *, seconds: float) -> np.ndarray:
    """1 kHz at a level by AES17."""
    amplitude = 10.0 ** (level_dbfs / 20.0)
    return np.asarray(amplitude * np.sin(2.0 * np.pi * 1000.0 * np.arange(round(seconds * RATE)) / RATE))


@contextmanager
def overheard() -> Iterator[list[np.ndarray]]:
    """All that is played into channel 1 of the loudspeaker while the body runs, piece by piece."""
    pieces: list[np.ndarray] = []
    words = ["parec", "--device=amplifier.monitor", "--format=float32le", f"--rate={RATE}", "--channels=2"]
    listener = subprocess.Popen([*words, "--latency-msec=20"], stdout=subprocess.PIPE)
    assert listener.stdout is not None
    pipe = listener.stdout.fileno()

    def listen() -> None:
        while piece := os.read(pipe, 4 * 65536):
            pieces.append(np.frombuffer(piece[: len(piece) // 8 * 8], np.float32)[::2])

    thread = threading.Thread(target=listen)
    thread.start()
    try:
        yield pieces
    finally:
        listener.terminate()
        thread.join()
        listener.stdout.close()
        listener.wait()
