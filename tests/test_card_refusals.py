"""What a sound card refuses is told in plain words: no numbers and no texts of the device library or the system."""

import re
import sys
from contextlib import contextmanager

import numpy as np
import pytest

from distort.capture.devices.card_refusals import MEANINGS, lost_samples_words, refused
from distort.capture.devices.pauses import of_this_process
from distort.capture.devices.playing import Run
from distort.capture.devices.sound_systems import list_cards
from distort.capture.devices.streaming import follow, most_samples, require_soon_silent, require_whole
from distort.errors import DeviceError, RecordingError
from tests.devices.answering import Answering
from tests.devices.hasty_card import HastyLibrary

INTERNALS = re.compile(r"-9[0-9]{3}|PortAudio|ALSA|snd_|PaError|host|0x|\[", re.IGNORECASE)
TEXT = "Error opening Stream: Unanticipated host error"
ALSA = (1, -77, "snd_pcm_hw_params: File descriptor in bad state")


@pytest.fixture
def library(monkeypatch) -> HastyLibrary:
    found = HastyLibrary(Answering())
    monkeypatch.setitem(sys.modules, "sounddevice", found)
    return found


@pytest.mark.parametrize("code", [*MEANINGS, -9989, None])
def test_every_number_has_a_sentence_and_none_is_shown(code) -> None:
    given = (TEXT,) if code is None else (TEXT, code, ALSA)
    said = str(refused("card, output 1", HastyLibrary.PortAudioError(*given)))
    assert said.startswith("card, output 1 cannot be used: ")
    assert not INTERNALS.search(said), said


def test_what_can_be_told_is_told() -> None:
    said = {code: str(refused("card", HastyLibrary.PortAudioError(TEXT, code))) for code in MEANINGS}
    assert "sample rate" in said[-9997]
    assert "channels" in said[-9998]
    assert "another program holds it" in said[-9985]
    assert "--output and --input" in said[-9993]


def test_a_stream_that_does_not_open_ends_in_such_a_sentence(library) -> None:
    @contextmanager
    def refusing():
        raise library.PortAudioError(TEXT, -9999, ALSA)
        yield

    one = Run(np.full(480, 0.1, np.float32), lead_in=48, tail=48, channels=1, sample_rate=48000)
    with pytest.raises(DeviceError, match=r"^card cannot be used: another program holds it") as told:
        follow(one, refusing, what="card", sample_rate=48000, channel=1, watch=None, pauses=of_this_process())
    assert not INTERNALS.search(str(told.value))


def test_a_system_whose_cards_cannot_be_asked_for_ends_in_one(library, monkeypatch) -> None:
    def failing() -> None:
        raise library.PortAudioError("Error querying device -1", -9986)

    monkeypatch.setattr(library, "query_devices", failing)
    with pytest.raises(DeviceError, match=r"^the system's sound cannot be used: it did not answer") as told:
        list_cards()
    assert not INTERNALS.search(str(told.value))


def test_lost_samples_name_the_blocks_that_are_allowed() -> None:
    """0.1 s of buffer in four blocks: 1,200 samples at 48 kHz, 2,400 at 96 kHz, and the same holds before playing."""
    assert (most_samples(48000), most_samples(96000)) == (1200, 2400)
    require_soon_silent(1200, 48000)
    with pytest.raises(DeviceError, match="at 48000 Hz take 1200 at most"):
        require_soon_silent(1201, 48000)
    one = Run(np.full(480, 0.1, np.float32), lead_in=0, tail=0, channels=1, sample_rate=48000)
    require_whole(one, block_samples=0, most=1200, sample_rate=48000)
    for _ in range(2):
        one.step(np.zeros((100, 1), np.float32), np.zeros((100, 1), np.float32), 0, "input overflow")
    with pytest.raises(RecordingError) as told:
        require_whole(one, block_samples=256, most=1200, sample_rate=48000)
    said = str(told.value)
    assert "lost samples 2 times: " in said
    assert "(16 to 1200 samples are allowed at 48000 Hz)" in said
    assert "overflow" not in said
    largest = lost_samples_words(1, block_samples=1200, most_samples=1200, sample_rate=48000)
    assert "lost samples once: " in largest
    assert "blocks of 1200 samples are the largest that are allowed at 48000 Hz" in largest
