"""The sound card over a virtual wire: exact samples, channels, a cap, lost samples, Ctrl-C, and what is missing."""

import os
import signal
import subprocess
import sys
import threading
import time

import numpy as np
import pytest

from distort.capture.devices.sound_card import Connections, SoundCard, loudest_stretch_dbfs
from distort.errors import DeviceError
from signals import Multitone, Sweep
from tests.busy_machine import again_where_busy

pytestmark = pytest.mark.sample

pytest_plugins = ["tests.card_fixtures"]

RATE = 48000
SWEEP = Sweep(seconds=0.5, drive_dbfs=-20.0).samples()


def card(*, max_drive_dbfs: float = -6.0, watch=None, **connections) -> SoundCard:
    return SoundCard(Connections(**connections), max_drive_dbfs=max_drive_dbfs, watch=watch)


def sine(drive_dbfs: float, *, seconds: float) -> np.ndarray:
    """1 kHz at a level by AES17, where a sine of amplitude 1 has 0 dBFS."""
    return np.asarray(10.0 ** (drive_dbfs / 20.0) * np.sin(2.0 * np.pi * 1000.0 / RATE * np.arange(seconds * RATE)))


def position(recording: np.ndarray, playback: np.ndarray) -> int:
    """Whole sample at which `playback` lies in `recording`: the largest value of their correlation."""
    size = 1 << (recording.size + playback.size).bit_length()
    correlation = np.fft.irfft(np.fft.rfft(recording, size) * np.conj(np.fft.rfft(playback, size)), size)
    return int(np.argmax(correlation))


@pytest.mark.sound_card
@pytest.mark.parametrize("block", [0, 512])
@again_where_busy
def test_what_comes_back_over_a_wire_is_what_was_played(wire, block) -> None:
    """Streams carry 32-bit floats, half of whose last place is 2^-25 of the value: 3e-8 of full scale at most.

    The sweep is as loud as the card may play. One of its channels is asked for, and heard alone.
    """
    told: list[tuple[float, float]] = []
    most = card(block_samples=block, max_drive_dbfs=-20.0, watch=lambda share, peak: told.append((share, peak)))
    recording = most.play_and_record(SWEEP, sample_rate=RATE)
    start = position(recording, SWEEP)
    there = recording[start : start + SWEEP.size]
    assert np.max(np.abs(there - SWEEP)) < 2.0**-25
    assert np.array_equal(there, SWEEP.astype(np.float32).astype(np.float64))
    assert not np.any(recording[:start])
    assert not np.any(recording[start + SWEEP.size :])
    assert recording.size > start + SWEEP.size

    shares, peaks_dbfs = zip(*told, strict=True)
    assert shares == tuple(sorted(shares))
    assert 0.0 <= shares[0] < 0.3
    assert 0.8 < shares[-1] <= 1.0
    assert max(peaks_dbfs) == pytest.approx(-20.0, abs=0.01)  # a sweep's peak is at its level by AES17


@pytest.mark.sound_card
@pytest.mark.parametrize("channel", [1, 2])
@again_where_busy
def test_what_is_played_on_one_channel_is_heard_on_that_of_its_number_alone(wire, channel) -> None:
    """A system mixer plays a stream of one channel on both outputs, and gives the mean of two inputs for one."""
    both = card(output_channel=channel, input_channel=1, loopback_channel=2)
    heard = both.play_and_record(SWEEP, sample_rate=RATE)
    looped = both.loopback()
    assert looped is not None
    assert looped.shape == heard.shape
    sounding, silent = (heard, looped) if channel == 1 else (looped, heard)
    assert not np.any(silent)
    start = position(sounding, SWEEP)
    assert np.max(np.abs(sounding[start : start + SWEEP.size] - SWEEP)) < 2.0**-25  # as above


@pytest.mark.sound_card
def test_nothing_above_the_cap_is_played_whatever_it_is(wire) -> None:
    quiet = card(max_drive_dbfs=-26.0)
    with pytest.raises(DeviceError, match=r"nothing is played.*reaches -20\.0 dBFS.*max_drive_dbfs = -26"):
        quiet.play_and_record(sine(-20.0, seconds=0.5), sample_rate=RATE)


@pytest.mark.parametrize("spectrum", ["pink", "flat", "red", "programme"])
def test_a_stimulus_at_the_highest_drive_is_not_taken_for_one_above_it(spectrum) -> None:
    """The loudest 0.4 s of any of them stays within 0.6 dB of its stated drive; the cap allows 1 dB."""
    for seed in range(5):
        stimulus = Multitone(drive_dbfs=-30.0, spectrum=spectrum, seed=seed)
        assert -0.1 < loudest_stretch_dbfs(stimulus.samples()[: 4 * RATE], RATE) + 30.0 < 0.75
    assert abs(loudest_stretch_dbfs(Sweep(seconds=2.0, drive_dbfs=-20.0).samples(), RATE) + 20.0) < 0.1


@pytest.mark.sound_card
@pytest.mark.parametrize("block", [0, 1200])
@again_where_busy
def test_ctrl_c_fades_the_sound_out_within_a_fifth_of_a_second(wire, block) -> None:
    """Heard by a program of its own at the output's monitor, which is asked for blocks of 10 ms."""
    heard: list[tuple[float, np.ndarray]] = []
    words = [
        "parec",
        "--device=wire.monitor",
        "--format=float32le",
        "--rate=48000",
        "--channels=2",
        "--latency-msec=10",
    ]
    listener = subprocess.Popen(words, stdout=subprocess.PIPE)
    assert listener.stdout is not None
    pipe = listener.stdout.fileno()

    def listen() -> None:
        while piece := os.read(pipe, 65536):
            heard.append((time.monotonic(), np.frombuffer(piece[: len(piece) // 8 * 8], np.float32)[::2]))

    thread = threading.Thread(target=listen)
    thread.start()
    pressed: list[float] = []

    def press() -> None:
        pressed.append(time.monotonic())
        os.kill(os.getpid(), signal.SIGINT)

    timer = threading.Timer(0.5, press)

    def watch(share: float, peak_dbfs: float) -> None:
        if peak_dbfs > -21.0 and timer.ident is None:
            timer.start()

    try:
        with pytest.raises(KeyboardInterrupt):
            card(watch=watch, block_samples=block).play_and_record(sine(-20.0, seconds=10.0), sample_rate=RATE)
        time.sleep(0.5)
    finally:
        timer.cancel()
        listener.terminate()
        thread.join()
        listener.stdout.close()
        listener.wait()
    loud = [at for at, samples in heard if samples.size and np.max(np.abs(samples)) > 1e-4]
    assert loud[0] < pressed[0] < loud[-1]
    print(f"silent {loud[-1] - pressed[0]:.3f} s after Ctrl-C")
    assert loud[-1] - pressed[0] < 0.2
    sound = np.concatenate([samples for _, samples in heard])
    last = int(np.flatnonzero(np.abs(sound) > 1e-4)[-1])
    # a raised cosine of 20 ms passes 1e-4 / 0.1 at 0.4 ms from its end, and 2 ms earlier sin^2(pi/2 0.12) = 3.5 %; what
    # breaks off without a fade holds a peak of 100 % in any 2 ms
    assert np.max(np.abs(sound[last - 96 : last])) < 0.04 * 0.1
    assert np.max(np.abs(sound[last - 4000 : last - 2000])) == pytest.approx(0.1, rel=1e-6)


LOSE = """
import numpy as np, os, subprocess, sys
from distort.capture.devices.sound_card import Connections, SoundCard
from distort.errors import RecordingError
held = subprocess.Popen(["sh", "-c", f"sleep 1; kill -STOP {os.getpid()}; sleep 0.3; kill -CONT {os.getpid()}"])
playback = 0.1 * np.sin(np.arange(48000 * 2) * 0.1)
try:
    SoundCard(Connections(), max_drive_dbfs=-6.0).play_and_record(playback, sample_rate=48000)
except RecordingError as error:
    sys.stdout.write(str(error))
held.wait()
"""


@pytest.mark.sound_card
def test_lost_samples_are_told(wire) -> None:
    """The whole program stands still for 0.3 s while it plays: longer than what is buffered, and no pause yet."""
    done = subprocess.run([sys.executable, "-c", LOSE], capture_output=True, text=True, timeout=60, check=True)
    assert "the sound card lost samples" in done.stdout
    assert "close other programs, or take larger blocks with --block (16 to 1200 samples" in done.stdout


@pytest.mark.sound_card
@pytest.mark.parametrize(
    ("connections", "said"),
    [
        ({"output": "no such card"}, "there is no sound card 'no such card': `distort devices` lists them"),
        ({"output_channel": 999}, "has no output channel 999: it has"),
        ({"input_channel": 999}, "has no input channel 999: it has"),
        ({"loopback_channel": 999}, "has no input channel 999: it has"),
        ({"loopback_channel": 1}, "cannot be the microphone and the loopback"),
    ],
)
def test_what_a_card_does_not_offer_is_said_before_anything_sounds(wire, connections, said) -> None:
    with pytest.raises(DeviceError) as refused:
        card(**connections)
    assert said in str(refused.value)


@pytest.mark.sound_card
def test_blocks_too_large_to_stop_at_once_are_refused(wire) -> None:
    """Four of them are buffered: 0.1 s at 48 kHz."""
    with pytest.raises(DeviceError, match=r"with blocks of 1201 samples Ctrl-C .* at 48000 Hz take 1200 at most"):
        card(block_samples=1201).play_and_record(np.zeros(10), sample_rate=RATE)


@pytest.mark.sound_card
def test_a_rate_that_is_not_offered_is_named_with_those_that_are(wire) -> None:
    """No converter runs at 1 Hz."""
    with pytest.raises(DeviceError, match=r"does not take 1 Hz\. It takes (\d+, )*48000") as refused:
        card().play_and_record(np.zeros(10), sample_rate=1)
    assert "sample_rate in session.toml" in str(refused.value)
