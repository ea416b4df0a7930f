"""A peak at the microphone above a limit stops the sound: the same contract for every device."""

import numpy as np
import pytest

from distort.capture.devices.device import Device
from distort.capture.devices.guard import Guard
from distort.capture.devices.playing import FADE_S, HOLD_S, Run
from distort.capture.devices.sound_card import Connections, SoundCard
from distort.capture.simulated import SimulatedMonitor
from distort.errors import TooLoudError
from signals import Reel, Silence, Sweep
from tests.busy_machine import again_where_busy

pytest_plugins = ["tests.card_fixtures"]

RATE = 48000
SWEEP = Reel((Silence(seconds=0.1), Sweep(seconds=0.8, drive_dbfs=-20.0), Silence(seconds=0.1)))


@pytest.fixture(params=["simulated", pytest.param("sound-card", marks=pytest.mark.sound_card)])
def device(request) -> Device:
    if request.param == "simulated":
        return SimulatedMonitor()
    request.getfixturevalue("wire")
    return SoundCard(Connections(), max_drive_dbfs=-6.0)


@again_where_busy
def test_a_peak_above_the_limit_stops_it(device) -> None:
    """A sweep at -20 dBFS reaches 0.02 in the simulated microphone and 0.1 through a wire; noise stays below 1e-4."""
    with pytest.raises(TooLoudError, match=r"heard a peak above -46\.0 dBFS"):
        device.play_and_record(SWEEP.samples(), sample_rate=RATE, guard=Guard(highest=0.005))


@pytest.mark.first(1)
@again_where_busy
def test_a_limit_that_is_not_passed_changes_nothing(device) -> None:
    recording = device.play_and_record(SWEEP.samples(), sample_rate=RATE, guard=Guard(highest=0.5))
    assert recording.size > SWEEP.n_samples
    assert float(np.max(np.abs(recording))) > 0.01


def wired(run: Run, *, gain: float, frames: int = 480) -> np.ndarray:
    """What a run plays when its own output comes back a block later, times `gain`."""
    heard, played = np.zeros((frames, 2), np.float32), []
    while not run.done.is_set():
        out = np.zeros((frames, 1), np.float32)
        run.step(heard, out, 0, "")
        heard = np.concatenate([np.zeros_like(out), gain * out], axis=1)
        played.append(out[:, 0])
    return np.concatenate(played)


def square_wave(n_samples: int) -> np.ndarray:
    """1 and -1 in turn, at 24 kHz: what takes an offset off leaves its peaks alone."""
    return np.asarray(np.where(np.arange(n_samples) % 2 == 0, 1.0, -1.0))


@pytest.mark.parametrize(("gain", "stops"), [(0.9, False), (1.1, True)])
def test_a_run_fades_out_within_the_block_that_hears_it(gain, stops) -> None:
    """A square wave whose second half is ten times the first: the fade begins in the first block after it is heard."""
    tone = (np.repeat([0.05, 0.5], RATE) * square_wave(2 * RATE)).astype(np.float32)
    run = Run(tone, lead_in=4800, tail=4800, channels=2, sample_rate=RATE)
    run.guard(1, Guard(highest=0.5))
    played = wired(run, gain=gain)
    assert isinstance(run.stopped, TooLoudError) is stops
    sounded_s = np.flatnonzero(np.abs(played) > 0.05)[-1] / RATE - 1.1  # since the louder half began
    if not stops:
        assert sounded_s == pytest.approx(1.0, abs=1e-3)
        return
    assert sounded_s < 0.02 + FADE_S  # two blocks of 10 ms and the fade
    assert played.size / RATE < 1.1 + 0.03 + FADE_S + HOLD_S


def test_what_is_heard_before_the_playback_or_on_another_channel_stops_nothing() -> None:
    run = Run((0.5 * square_wave(RATE)).astype(np.float32), lead_in=4800, tail=4800, channels=2, sample_rate=RATE)
    run.guard(0, Guard(highest=0.1))  # channel 1 is the one that hears the playback
    wired(run, gain=1.0)
    assert run.stopped is None
    early = Run(np.zeros(RATE, np.float32), lead_in=4800, tail=4800, channels=1, sample_rate=RATE)
    early.guard(0, Guard(highest=0.1))
    early.step(np.tile(np.float32([[1.0], [-1.0]]), (240, 1)), np.zeros((480, 1), np.float32), 0, "")
    assert early.stopped is None
