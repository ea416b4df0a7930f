"""Which sound cards there are, and what each of them offers. The device library is loaded here and nowhere else."""

import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from typing import Any

from distort.capture.devices.card_refusals import refused
from distort.errors import DeviceError, did_you_mean, shown

COMMON_RATES_HZ = (44100, 48000, 88200, 96000, 176400, 192000)
"""Sample rates that converters offer; only these are tried when it must be said which ones a card has."""


@dataclass(frozen=True, kw_only=True)
class CardInfo:
    """One device as its host API offers it."""

    number: int
    name: str
    host_api: str
    inputs: int
    outputs: int
    default_rate_hz: float
    is_default_input: bool
    is_default_output: bool


def device_library() -> Any:
    """The module sounddevice. Raises DeviceError, saying what to install, when PortAudio is missing."""
    try:
        import sounddevice
    except OSError as error:  # what the module raises when it finds no PortAudio to load
        raise DeviceError(f"no sound card can be used, because {_portaudio_advice(sys.platform)}") from error
    _silence_alsa(sys.platform)
    return sounddevice


@cache
def _silence_alsa(platform: str) -> Any:
    """ALSA's library would write each gap into the terminal's progress bar; streams report gaps by their flags.

    Gives what must stay alive as long as the library may call it.
    """
    if not platform.startswith("linux"):
        return None
    with suppress(OSError):  # a PortAudio without ALSA
        words = ctypes.c_char_p
        silent = ctypes.CFUNCTYPE(None, words, ctypes.c_int, words, ctypes.c_int, words)(lambda *anything: None)
        ctypes.CDLL("libasound.so.2").snd_lib_error_set_handler(silent)
        return silent
    return None


def list_cards() -> tuple[CardInfo, ...]:
    """Every device of every host API, in PortAudio's order. Raises DeviceError without PortAudio or any device."""
    library = device_library()
    try:
        found, hosts = library.query_devices(), library.query_hostapis()
    except library.PortAudioError as error:
        raise refused("the system's sound", error) from error
    if not found:
        raise DeviceError(
            "no sound card was found: connect one and switch it on, and see that this account may use it "
            "(on Linux: the group audio)"
        )
    return tuple(
        CardInfo(
            number=number,
            name=one["name"],
            host_api=hosts[one["hostapi"]]["name"],
            inputs=one["max_input_channels"],
            outputs=one["max_output_channels"],
            default_rate_hz=one["default_samplerate"],
            is_default_input=number == library.default.device[0],
            is_default_output=number == library.default.device[1],
        )
        for number, one in enumerate(found)
    )


def find_card(wanted: str | None, *, output: bool) -> CardInfo:
    """The card that `wanted` means: its number, its name, or a part of that; None: the system's default.

    Raises DeviceError when there is none such, several, or one without an output (or input).
    """
    cards = list_cards()
    way = "output" if output else "input"
    able = [card for card in cards if (card.outputs if output else card.inputs) > 0]
    if wanted is None:
        fitting = [card for card in able if (card.is_default_output if output else card.is_default_input)]
        if not fitting:
            raise DeviceError(f"the system has no default {way}: name one with --{way}; `distort devices` lists them")
        return fitting[0]
    exact = [card for card in cards if wanted in (str(card.number), card.name)]
    fitting = exact or [card for card in cards if wanted.lower() in card.name.lower()]
    if not fitting:
        near = did_you_mean(wanted, [card.name for card in cards])
        raise DeviceError(f"there is no sound card {shown(wanted)}{near}: `distort devices` lists them")
    usable = [card for card in fitting if card in able]
    if not usable:
        raise DeviceError(f"sound card {fitting[0].number}, {fitting[0].name}, has no {way}: name another with --{way}")
    if len(usable) > 1:
        which = "; ".join(f"{card.number} {card.name} ({card.host_api})" for card in usable)
        raise DeviceError(f"{shown(wanted)} may be several sound cards, {which}: name one by its number with --{way}")
    return usable[0]


def require_channel(card: CardInfo, channel: int, *, output: bool) -> None:
    """Raises DeviceError when `card` lacks `channel`, counted from 1."""
    way, there = ("output", card.outputs) if output else ("input", card.inputs)
    if not 1 <= channel <= there:
        raise DeviceError(
            f"sound card {card.number}, {card.name}, has no {way} channel {channel}: it has {there}, counted from 1"
        )


def channels_to_open(wanted: int, there: int) -> int:
    """How many channels a stream must have so that channel `wanted`, counted from 1, is itself; `there` are offered.

    A system mixer (PulseAudio, PipeWire) makes one channel of a stereo input by the mean of both, and plays one
    channel on both outputs: a microphone beside a silent input would read 6 dB low, and a second loudspeaker sound. So
    at least two are opened where there are two.
    """
    return max(wanted, min(2, there))


def require_rate(card: CardInfo, sample_rate: int, *, channels: int, output: bool) -> None:
    """Raises DeviceError, naming the rates that it does take, when `card` does not take `sample_rate` in Hz."""
    if _takes(card, sample_rate, channels=channels, output=output):
        return
    offered = [rate for rate in COMMON_RATES_HZ if _takes(card, rate, channels=channels, output=output)]
    what = ", ".join(map(str, offered)) if offered else "none of the common ones; another program may hold it"
    raise DeviceError(
        f"the {'output' if output else 'input'} of sound card {card.number}, {card.name}, does not take "
        f"{sample_rate} Hz. It takes {what}. Set [sweep] sample_rate in session.toml, or the card's own rate."
    )


def offered_rates(card: CardInfo) -> tuple[int, ...]:
    """Which of the common sample rates in Hz `card` takes now: both ways, or the one way that works at all."""
    ways = [
        {rate for rate in COMMON_RATES_HZ if _takes(card, rate, channels=channels_to_open(1, there), output=output)}
        for output, there in ((True, card.outputs), (False, card.inputs))
        if there
    ]
    working = [rates for rates in ways if rates]
    return tuple(sorted(set.intersection(*working))) if working else ()


def _takes(card: CardInfo, sample_rate: int, *, channels: int, output: bool) -> bool:
    library = device_library()
    check = library.check_output_settings if output else library.check_input_settings
    try:
        with _libraries_silent():
            check(device=card.number, channels=channels, dtype="float32", samplerate=sample_rate)
    except library.PortAudioError:
        return False
    return True


@contextmanager
def _libraries_silent() -> Iterator[None]:
    """PortAudio and ALSA write to stderr themselves when a card refuses something: what it means is said instead."""
    sys.stderr.flush()
    kept = os.dup(2)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def _portaudio_advice(platform: str) -> str:
    if platform.startswith("linux"):
        return "PortAudio is missing. On Debian and its kin: sudo apt install libportaudio2"
    return "PortAudio is missing. It comes with a Python package: pip install --force-reinstall sounddevice"
