"""A sound card as a device: plays on one channel and records the microphone, and a loopback where there is one."""

import math
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.capture.devices.device import require_playable
from distort.capture.devices.guard import Guard
from distort.capture.devices.long_playing import Followed, Hear, LongPlayback, LongRun
from distort.capture.devices.pauses import BEAT_S, PauseWatch, of_this_process, paused
from distort.capture.devices.playing import Run, Watchdog
from distort.capture.devices.sound_input import SoundInput
from distort.capture.devices.sound_systems import (
    channels_to_open,
    device_library,
    find_card,
    require_channel,
    require_rate,
)
from distort.capture.devices.streaming import (
    LATE_LATENCIES,
    LEAD_IN_S,
    Watch,
    follow,
    latency_s,
    most_samples,
    require_soon_silent,
    require_whole,
)
from distort.errors import DeviceError
from signals.levels import FULL_SCALE_SINE_RMS, power_to_db

FloatArray = npt.NDArray[np.float64]

TAIL_S = 1.0
"""What is heard after the playback, besides the stated latency: sound on its way, and the last of a room's decay."""

STRETCH_S = 0.4
"""The drive of a playback is judged on its loudest stretch of this length: some periods of the lowest tones."""

STRETCH_ABOVE_DRIVE_DB = 1.0
"""How far the loudest stretch may lie above the stated drive: sweeps stay under 0.1 dB, random multitones under 0.6."""


@dataclass(frozen=True, kw_only=True)
class Connections:
    """Which devices and channels are used; channels are counted from 1, devices as in `find_card`."""

    output: str | None = None
    input: str | None = None
    output_channel: int = 1
    input_channel: int = 1
    loopback_channel: int | None = None
    """Input channel to which the output is also led by a cable."""
    block_samples: int = 0
    """About how many samples a block has; 0: as this program likes."""


class SoundCard:
    """Implements `Device` on PortAudio.

    max_drive_dbfs   what no playback may exceed, whatever any calibration says
    watch            told how far a playback is, and how loud the microphone's channel
    pauses           tells when computer or program stood still; None: that of this process

    Raises DeviceError when PortAudio, a device or a channel is missing. Nothing sounds before `play_and_record`.
    """

    def __init__(
        self,
        connections: Connections,
        *,
        max_drive_dbfs: float,
        watch: Watch | None = None,
        pauses: PauseWatch | None = None,
    ) -> None:
        self.connections = connections
        self._pauses = of_this_process() if pauses is None else pauses
        self._paused_s = self._pauses.paused_s()
        self.max_drive_dbfs = max_drive_dbfs
        self._watch = watch
        self._loopback: FloatArray | None = None
        self._output = find_card(connections.output, output=True)
        self._microphone = SoundInput(
            connections.input,
            channel=connections.input_channel,
            block_samples=connections.block_samples,
            watch=watch,
        )
        self._input = self._microphone.card
        require_channel(self._output, connections.output_channel, output=True)
        if connections.loopback_channel is not None:
            require_channel(self._input, connections.loopback_channel, output=False)
        if self._output.host_api != self._input.host_api:
            raise DeviceError(
                f"{self._output.name} is offered by {self._output.host_api} and {self._input.name} by "
                f"{self._input.host_api}: name two of the same host API; `distort devices` lists them"
            )
        if connections.loopback_channel == connections.input_channel:
            raise DeviceError(
                f"input channel {connections.input_channel} cannot be the microphone and the loopback: name two"
            )

    @property
    def name(self) -> str:
        """Host API, devices and channels."""
        ways = self._output.name, self._input.name
        cards = ways[0] if ways[0] == ways[1] else " and ".join(ways)
        return (
            f"{cards} ({self._output.host_api}), output {self.connections.output_channel}, "
            f"input {self.connections.input_channel}"
        )

    @property
    def microphone_name(self) -> str:
        """Host API, device and channel of what hears: as a calibration made with it live is said to be made."""
        return self._microphone.name

    @property
    def simulated(self) -> bool:
        """What it plays is heard."""
        return False

    def rest(self, seconds: float) -> None:
        """Wait for `seconds`. Raises PausedError when the computer paused since somebody last `attended`."""
        until_s = time.monotonic() + seconds
        while (left_s := until_s - time.monotonic()) > 0.0:
            self._require_no_pause()
            time.sleep(min(left_s, BEAT_S))
        self._require_no_pause()

    def attended(self) -> None:
        """Somebody is here and wants it to sound: no pause until now counts."""
        self._paused_s = self._pauses.paused_s()

    def _require_no_pause(self) -> None:
        if (pause_s := self._pauses.paused_s() - self._paused_s) > 0.0:
            raise paused(pause_s)

    def now(self) -> datetime:
        """The time of day."""
        return datetime.now(UTC)

    def loopback(self) -> FloatArray | None:
        """What the loopback channel recorded in the last run, beside the microphone's, sample for sample."""
        return self._loopback

    def record(self, seconds: float, *, sample_rate: int) -> FloatArray:
        """What the microphone's channel hears in `seconds` while nothing is played; as `SoundInput.record`."""
        return self._microphone.record(seconds, sample_rate=sample_rate)

    def play_and_record(self, playback: FloatArray, *, sample_rate: int, guard: Guard | None = None) -> FloatArray:
        """What the microphone's channel recorded, `(samples,)`, full scale 1; longer than `playback` `(samples,)`.

        Ctrl-C fades the sound out, closes the stream and raises KeyboardInterrupt; what `guard` does not allow at the
        microphone does the same and raises TooLoudError or DeafError, a pause PausedError: nothing sounds after one
        until somebody has `attended`. Raises SignalError for what is no playback, DeviceError for one that is too loud
        or that the card cannot play, and for blocks too large to stop at once, RecordingError when samples were lost on
        the way.
        """
        self._require_no_pause()
        require_playable(playback)
        self._require_quiet_enough(playback, sample_rate)
        channels = self._input_channels()
        n_inputs, n_outputs = self._opened(sample_rate, channels)
        run = Run(
            playback.astype(np.float32),
            lead_in=round(LEAD_IN_S * sample_rate),
            tail=self._tail(sample_rate),
            channels=n_inputs,
            sample_rate=sample_rate,
        )
        if guard is not None:
            run.guard(channels[0] - 1, guard)
        self._loopback = None
        self._perform(run, sample_rate, channels=(n_inputs, n_outputs), watch=self._watch)
        self._require_whole(run, sample_rate)
        if len(channels) > 1:
            self._loopback = run.heard(channels[1] - 1)
        return run.heard(channels[0] - 1)

    def play_long(self, playback: LongPlayback, *, sample_rate: int, hear: Hear, guard: Guard | None = None) -> None:
        """Play for minutes and hand on what the microphone's channel hears, as `LongDevice` says; no loopback is kept.

        Raises as `play_and_record`, and what `hear` raises.
        """
        self._require_no_pause()
        block = 1 << 20
        for first in range(0, playback.n_samples, block):
            piece = playback.part(first - round(STRETCH_S * sample_rate), min(first + block, playback.n_samples))
            require_playable(piece)
            self._require_quiet_enough(piece, sample_rate)
        channels = self._input_channels()
        n_inputs, n_outputs = self._opened(sample_rate, channels)
        run = LongRun(
            playback,
            lead_in=round(LEAD_IN_S * sample_rate),
            tail=self._tail(sample_rate),
            channels=n_inputs,
            column=channels[0] - 1,
            sample_rate=sample_rate,
        )
        if guard is not None:
            run.guard(channels[0] - 1, guard)
        self._loopback = None
        followed = Followed(run, hear, self._watch)
        try:
            self._perform(run, sample_rate, channels=(n_inputs, n_outputs), watch=followed)
        finally:
            followed.hand_on()
        if followed.failed is not None:
            raise followed.failed
        self._require_whole(run, sample_rate)

    def _opened(self, sample_rate: int, channels: tuple[int, ...]) -> tuple[int, int]:
        """How many inputs and outputs a stream opens. Raises DeviceError where the card cannot, or not at this rate."""
        require_soon_silent(self.connections.block_samples, sample_rate)
        n_inputs = channels_to_open(max(channels), self._input.inputs)
        n_outputs = channels_to_open(self.connections.output_channel, self._output.outputs)
        require_rate(self._output, sample_rate, channels=n_outputs, output=True)
        require_rate(self._input, sample_rate, channels=n_inputs, output=False)
        return n_inputs, n_outputs

    def _tail(self, sample_rate: int) -> int:
        return round((TAIL_S + 2 * latency_s(self.connections.block_samples, sample_rate)) * sample_rate)

    def _require_whole(self, run: Run, sample_rate: int) -> None:
        require_whole(
            run,
            block_samples=self.connections.block_samples,
            most=most_samples(sample_rate),
            sample_rate=sample_rate,
        )

    def _input_channels(self) -> tuple[int, ...]:
        loopback = self.connections.loopback_channel
        microphone = self.connections.input_channel
        return (microphone,) if loopback is None else (microphone, loopback)

    def _perform(self, run: Run, sample_rate: int, *, channels: tuple[int, int], watch: Watch | None) -> None:
        column = self.connections.output_channel - 1
        latency = latency_s(self.connections.block_samples, sample_rate)
        watchdog = Watchdog(sample_rate, longest_s=LATE_LATENCIES * latency, paused_s=self._pauses.paused_s)

        def callback(heard: Any, played: Any, *frames_time_status: Any) -> None:
            late, pause_s = watchdog.late(len(played), sounding=run.sounded)
            if pause_s > 0.0:
                run.pause(pause_s)
            status = frames_time_status[2]
            run.step(heard, played, column, str(status) if status else late)

        def stream() -> Any:
            return device_library().Stream(
                samplerate=sample_rate,
                device=(self._input.number, self._output.number),
                channels=channels,
                dtype="float32",
                latency=latency,
                callback=callback,
            )

        follow(
            run,
            stream,
            what=self.name,
            sample_rate=sample_rate,
            channel=self.connections.input_channel,
            watch=watch,
            pauses=self._pauses,
        )

    def _require_quiet_enough(self, playback: FloatArray, sample_rate: int) -> None:
        loudest = loudest_stretch_dbfs(playback, sample_rate)
        if loudest > self.max_drive_dbfs + STRETCH_ABOVE_DRIVE_DB:
            raise DeviceError(
                f"nothing is played: the stimulus reaches {loudest:.1f} dBFS, above [safety] max_drive_dbfs = "
                f"{self.max_drive_dbfs:g}"
            )


def loudest_stretch_dbfs(playback: FloatArray, sample_rate: int) -> float:
    """r.m.s. level of the loudest `STRETCH_S` of `playback` `(samples,)`, dBFS (AES17); silence around it counts."""
    n = max(1, math.ceil(STRETCH_S * sample_rate))
    energy = np.cumsum(np.square(np.pad(playback, n)))
    loudest = float(np.max(energy[n:] - energy[:-n]))
    return float(power_to_db(max(loudest, 0.0) / n / FULL_SCALE_SINE_RMS**2))
