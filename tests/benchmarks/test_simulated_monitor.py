"""What it takes to simulate a recording."""

import time

import numpy as np
import pytest

from distort.capture.simulated import SimulatedMonitor
from signals import Sweep, framed

pytestmark = pytest.mark.benchmark


def test_speed() -> None:
    """Prints the time for a 10 s sweep as it is always played, 17 s, at the loudest rung."""
    playback = framed(Sweep(drive_dbfs=-10.0)).samples()
    began = time.process_time()
    recording = SimulatedMonitor().play_and_record(playback, sample_rate=48000)
    print(f"\nsimulated loudspeaker: {playback.size / 48000:.1f} s of audio in {time.process_time() - began:.2f} s")
    assert np.max(np.abs(recording)) < 1.0
