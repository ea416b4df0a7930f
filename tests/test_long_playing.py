"""Playing for minutes through a sound card, without its clock: what is sent, what is handed on, and what ends it."""

import sys
from collections.abc import Callable

import numpy as np
import pytest

from distort.capture.devices.guard import Guard
from distort.capture.devices.pauses import PauseWatch
from distort.capture.devices.sound_card import Connections, SoundCard
from distort.capture.devices.streaming import LEAD_IN_S
from distort.capture.heating.playback import HeatingPlayback
from distort.errors import DeviceError, RecordingError, TooLoudError
from signals import Multitone
from signals.heating import Heating
from tests.devices.answering import RATE, Answering
from tests.devices.hasty_card import HastyLibrary

TONE = Multitone(low_hz=200.0, lines_per_decade=3, period_s=0.25, drive_dbfs=-26.0)
HEATING = Heating(tone=TONE, loud_periods=24, asked_periods=24, pilots_after_s=(0.0,))
FREE = Guard(highest=0.9)


@pytest.fixture(autouse=True)
def without_a_clock(monkeypatch) -> None:
    """A busy machine that holds the card's thread up is no pause, and no block is late."""
    monkeypatch.setattr("distort.capture.devices.sound_card.LATE_LATENCIES", 1e6)
    monkeypatch.setattr("distort.capture.devices.playing.LONGEST_GAP_S", 1e6)
    never = PauseWatch(clock=lambda: 0.0, asleep=lambda: 0.0)
    monkeypatch.setattr("distort.capture.devices.sound_card.of_this_process", lambda: never)


def card(monkeypatch, library: HastyLibrary, *, max_drive_dbfs: float = -6.0) -> SoundCard:
    monkeypatch.setitem(sys.modules, "sounddevice", library)
    return SoundCard(Connections(output="loudspeaker", input="microphone"), max_drive_dbfs=max_drive_dbfs)


def play(card: SoundCard, playback: HeatingPlayback, hear: Callable, guard: Guard = FREE) -> None:
    card.play_long(playback, sample_rate=RATE, hear=hear, guard=guard)


def test_everything_is_sent_and_everything_that_is_heard_is_handed_on(monkeypatch) -> None:
    library, playback = HastyLibrary(Answering()), HeatingPlayback(HEATING)
    pieces: list[np.ndarray] = []
    play(card(monkeypatch, library), playback, pieces.append)
    heard, sent = np.concatenate(pieces), playback.part(0, playback.n_samples)
    lead_in = round(LEAD_IN_S * RATE)
    np.testing.assert_array_equal(library.played[lead_in : lead_in + sent.size], sent.astype(np.float32))
    assert not np.any(library.played[lead_in + sent.size :])
    # the direct sound is as loud as the device says: 0.2 of what was played, bent by 1 %, and a reflection
    gain = heard[: sent.size + 140 + 480] @ np.pad(sent, (140 + 480, 0)) / (sent @ sent)
    assert gain == pytest.approx(10.0 ** (-14.0 / 20.0), rel=0.08)


def test_an_end_that_is_moved_is_played_to_its_own_end(monkeypatch) -> None:
    library, playback = HastyLibrary(Answering()), HeatingPlayback(HEATING)
    playback.end_loud_soon()  # before anything was asked for: at the soonest after eight periods
    assert playback.heating.loud_periods == 8
    play(card(monkeypatch, library), playback, lambda piece: None)
    end = round(LEAD_IN_S * RATE) + playback.n_samples
    np.testing.assert_array_equal(
        library.played[end - playback.n_samples : end], playback.part(0, playback.n_samples).astype(np.float32)
    )


def test_what_the_listener_raises_silences_it_and_is_raised(monkeypatch) -> None:
    library, playback = HastyLibrary(Answering()), HeatingPlayback(HEATING)
    heard: list[int] = []

    def hear(piece: np.ndarray) -> None:
        heard.append(piece.size)
        if sum(heard) > 2 * RATE:
            raise RecordingError("the disk is full")

    with pytest.raises(RecordingError, match="the disk is full"):
        play(card(monkeypatch, library), playback, hear)
    assert not np.any(library.played[-480:])
    assert sum(heard) < 2 * RATE + 481  # nothing more is handed on


def test_what_is_too_loud_ends_it_and_what_was_heard_until_then_is_handed_on(monkeypatch) -> None:
    library, playback = HastyLibrary(Answering()), HeatingPlayback(HEATING)
    pieces: list[np.ndarray] = []
    with pytest.raises(TooLoudError):
        play(card(monkeypatch, library), playback, pieces.append, Guard(highest=0.01))
    heard = np.concatenate(pieces)
    assert np.max(np.abs(heard)) > 0.01
    assert heard.size < playback.n_samples / 2
    assert not np.any(library.played[-480:])


def test_nothing_above_the_cap_is_played(monkeypatch) -> None:
    library = HastyLibrary(Answering())
    with pytest.raises(DeviceError, match=r"above \[safety\] max_drive_dbfs"):
        play(card(monkeypatch, library, max_drive_dbfs=-40.0), HeatingPlayback(HEATING), lambda piece: None)
    assert library.played.size == 0
