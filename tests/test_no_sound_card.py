"""Where PortAudio or every sound card is missing, and where a take is spoilt: one sentence that says what to do."""

import subprocess
import sys
import time
from contextlib import nullcontext
from types import SimpleNamespace

import numpy as np
import pytest

from distort.capture.devices.pauses import of_this_process
from distort.capture.devices.playing import FADE_S, HOLD_S, Run, Watchdog
from distort.capture.devices.sound_systems import CardInfo
from distort.capture.devices.streaming import STALLED_S, follow
from distort.errors import DeviceError, RecordingError
from distort.report.terminal.console import make_console, say
from distort.report.text.capture import card_sentences
from tests.devices.answering import Answering
from tests.devices.hasty_card import HastyLibrary

WITHOUT = """
import ctypes.util, sys
ctypes.util.find_library = lambda name: None
sys.platform = {platform!r}
from distort.capture.devices.sound_systems import device_library
from distort.errors import DeviceError, RecordingError
try:
    device_library()
except DeviceError as error:
    sys.stdout.write(str(error))
"""
"""The device library asks ctypes where PortAudio is."""


def test_without_portaudio_it_says_what_to_install() -> None:
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT.format(platform="linux")], capture_output=True, text=True, check=True
    )
    assert done.stdout == (
        "no sound card can be used, because PortAudio is missing. On Debian and its kin: sudo apt install libportaudio2"
    )


def run(**settings: object) -> Run:
    playback = np.full(4800, 0.5, np.float32)
    return Run(playback, **({"lead_in": 480, "tail": 480, "channels": 2, "sample_rate": 48000} | settings))


def step(one: Run, frames: int = 240, *, heard: float = 0.25, trouble: str = "") -> np.ndarray:
    played = np.full((frames, 2), np.nan, np.float32)
    one.step(np.full((frames, 2), heard, np.float32), played, 1, trouble)
    return played


def test_a_run_plays_its_lead_in_its_playback_and_its_tail_and_is_done() -> None:
    one = run()
    played = np.concatenate([step(one) for _ in range(24)])
    assert one.done.is_set()
    assert not np.any(played[:, 0])
    assert np.array_equal(np.flatnonzero(played[:, 1]), np.arange(480, 5280))
    assert one.heard(0).size == 4800 + 480
    assert np.all(one.heard(1) == 0.25)


def test_trouble_counts_from_the_first_sound_on() -> None:
    one = run()
    step(one, trouble="input underflow")
    step(one, trouble="input underflow")
    assert one.troubles == ()
    step(one, trouble="output underflow")
    assert one.troubles == ("output underflow",)


def test_a_block_that_comes_too_late_is_told_without_a_flag() -> None:
    """Blocks of 10 ms; a gap of 150 ms and a block is allowed."""
    times = iter([0.0, 0.01, 0.165, 0.335, 0.345])
    watchdog = Watchdog(48000, longest_s=0.15, clock=lambda: next(times))
    assert [bool(watchdog.late(480)[0]) for _ in range(5)] == [False, False, False, True, False]


def test_a_gap_between_blocks_is_a_pause_once_it_sounds() -> None:
    """0.6 s late: while a stream opens that happens on a virtual card; while it sounds somebody may have come near."""
    for sounding, pause_s in ((False, 0.0), (True, 0.6)):
        times = iter([0.0, 0.61])
        watchdog = Watchdog(48000, longest_s=0.15, clock=lambda: next(times))  # noqa: B023 - used in this turn
        watchdog.late(480, sounding=sounding)
        assert watchdog.late(480, sounding=sounding) == ("a block that came too late", pytest.approx(pause_s))


def test_a_run_that_is_stopped_fades_out_and_is_done_after_a_while_of_silence() -> None:
    one = run(tail=48000)
    played = [step(one) for _ in range(6)]
    one.stop()
    while not one.done.is_set():
        played.append(step(one))
    sound = np.concatenate(played)[:, 1]
    fading = sound[6 * 240 : 6 * 240 + round(FADE_S * 48000)]
    assert np.all(np.diff(fading) < 0)
    assert np.max(np.abs(np.diff(fading))) < 0.5 * np.pi / fading.size  # no step: the slope of a raised cosine, doubled
    silence = sound[6 * 240 + fading.size :]
    assert not np.any(silence)
    assert silence.size >= HOLD_S * 48000


@pytest.mark.parametrize(("blocks", "refused"), [(0, RecordingError), (3, DeviceError)])
def test_a_stream_that_has_died_is_not_waited_for(monkeypatch, blocks, refused) -> None:
    """PortAudio may end the thread of a stream by itself: that one stands still and is not active any more.

    One that has sounded until then is no spoilt take, which would be played again.
    """
    monkeypatch.setitem(sys.modules, "sounddevice", HastyLibrary(Answering()))
    died = SimpleNamespace(active=False)
    one = run()
    for _ in range(blocks):
        step(one)
    began = time.monotonic()
    with pytest.raises(refused, match=r"stopped after 0\.0 s"):
        follow(
            one,
            lambda: nullcontext(died),
            what="card",
            sample_rate=48000,
            channel=1,
            watch=None,
            pauses=of_this_process(),
        )
    assert time.monotonic() - began < 0.5 * STALLED_S


def test_cards_are_listed_with_number_host_channels_and_rate(capsys) -> None:
    card = CardInfo(
        number=3,
        name="Interface",
        host_api="ALSA",
        inputs=4,
        outputs=2,
        default_rate_hz=48000.0,
        is_default_input=False,
        is_default_output=True,
    )
    say(make_console(), *card_sentences([card], {3: (44100, 48000)}))
    assert capsys.readouterr().out == "3: Interface (ALSA), outputs 2, inputs 4, 44100 48000 Hz, default output\n"
    say(make_console(), *card_sentences([card], {3: ()}))
    assert "no common rate now, as when another program holds it" in capsys.readouterr().out


@pytest.mark.parametrize(("level_db_spl", "hours"), [(85.0, 8.0), (88.0, 4.0), (100.0, 0.25), (82.0, 16.0)])
def test_permitted_time(level_db_spl, hours) -> None:
    """NIOSH publication 98-126, table 1-1: 85 dB(A) 8 h, 88 dB(A) 4 h, 100 dB(A) 15 min, 82 dB(A) 16 h."""
    from distort.capture.measuring.exposure import permitted_hours

    assert permitted_hours(level_db_spl) == pytest.approx(hours, rel=1e-12)
