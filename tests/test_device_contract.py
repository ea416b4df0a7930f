"""What the simulated loudspeaker and the sound card have in common: one contract, both held to it."""

from datetime import timedelta

import numpy as np
import pytest

from distort.capture.devices.device import Device
from distort.capture.devices.sound_card import Connections, SoundCard
from distort.capture.simulated import SimulatedMonitor
from distort.recording.alignment.locating import find_reel
from signals import Reel, Silence, Sweep
from signals.errors import SignalError
from tests.busy_machine import again_where_busy

pytest_plugins = ["tests.card_fixtures"]

RATE = 48000
SILENCE = Silence(seconds=0.2, settle_s=0.1)
SWEEP = Reel((SILENCE, Sweep(seconds=0.8, drive_dbfs=-20.0), SILENCE))


@pytest.fixture(params=["simulated", pytest.param("sound-card", marks=pytest.mark.sound_card)])
def device(request) -> Device:
    if request.param == "simulated":
        return SimulatedMonitor()
    request.getfixturevalue("wire")
    return SoundCard(Connections(), max_drive_dbfs=-6.0)


@again_where_busy
def test_a_recording_is_longer_than_what_was_played_and_holds_it(device) -> None:
    playback = SWEEP.samples()
    before = playback.copy()
    for _ in range(2):
        recording = device.play_and_record(playback, sample_rate=RATE)
        assert recording.dtype == np.float64
        assert recording.ndim == 1
        assert recording.size > playback.size
        assert np.all(np.isfinite(recording))
        assert np.max(np.abs(recording)) <= 1.0
        start = find_reel(recording, SWEEP).stimulus_start
        # all of the reel lies inside, so it began after the recording and ended before it
        assert SWEEP.only_stimulus()[0] <= start <= recording.size - playback.size + SWEEP.only_stimulus()[0]
    assert np.array_equal(playback, before)
    assert device.loopback() is None


@pytest.mark.parametrize(
    "playback",
    [np.zeros(0), np.zeros((2, 480)), np.full(480, np.nan), np.full(480, 1.01)],
    ids=["empty", "two channels", "not a number", "beyond full scale"],
)
def test_what_is_no_playback_is_refused(device, playback) -> None:
    with pytest.raises(SignalError):
        device.play_and_record(playback, sample_rate=RATE)


@again_where_busy
def test_it_records_as_long_as_it_is_told_while_nothing_is_played(device) -> None:
    for seconds in (0.1, 0.25):
        heard = device.record(seconds, sample_rate=RATE)
        assert heard.dtype == np.float64
        assert heard.shape == (round(seconds * RATE),)
        assert np.max(np.abs(heard)) < 1e-2


@pytest.mark.parametrize("seconds", [0.0, -1.0, np.nan, np.inf])
def test_what_is_no_length_of_a_recording_is_refused(device, seconds) -> None:
    with pytest.raises(SignalError, match="one sample at least"):
        device.record(seconds, sample_rate=RATE)


def test_it_says_what_it_is_and_keeps_time(device) -> None:
    assert device.name
    assert device.simulated is isinstance(device, SimulatedMonitor)
    before = device.now()
    device.rest(0.25)
    assert before.utcoffset() == timedelta(0)
    assert timedelta(seconds=0.25) <= device.now() - before < timedelta(seconds=2.0)
