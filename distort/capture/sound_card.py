"""A sound card as a device: plays on one channel and records the microphone, and a loopback where there is one."""

import math
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.capture.device import require_playable
from distort.capture.playing import Run, Watchdog
from distort.capture.sound_systems import device_library, find_card, require_channel, require_rate
from distort.errors import DeviceError, RecordingError
from signals.levels import FULL_SCALE_SINE_RMS, amplitude_to_db, power_to_db

FloatArray = npt.NDArray[np.float64]

LEAD_IN_S = 0.5
"""Silence before every playback: streams begin with gaps, and a device that wakes swallows its first tenths."""

TAIL_S = 1.0
"""What is heard after the playback, besides the stated latency: sound on its way, and the last of a room's decay."""

LATENCY_S = 0.05
"""Asked of both directions. Ctrl-C must stop the sound in 0.2 s, and what is buffered plays on (a virtual card fell
silent after 0.05 to 0.08 s); a shorter buffer drops out more easily. With 0.1 s PortAudio lost samples of a virtual
card without raising a flag."""

STALLED_S = 3.0
"""A stream that has not moved for so long will not move again."""

LATE_LATENCIES = 3
"""A gap between two callbacks of more latencies than this (and a block) has emptied every buffer that was asked for."""

LOOK_S = 0.05
"""How often the program looks at the running stream."""

STRETCH_S = 0.4
"""The drive of a playback is judged on its loudest stretch of this length: some periods of the lowest tones."""

STRETCH_ABOVE_DRIVE_DB = 1.0
"""How far the loudest stretch may lie above the stated drive: sweeps stay under 0.1 dB, random multitones under 0.6."""

Watch = Callable[[float, float], None]
"""Told the share that is done, 0 to 1, and the peak of the newest input, dBFS."""


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
    """Samples a callback; 0: as the device likes."""


class SoundCard:
    """Implements `Device` on PortAudio.

    max_drive_dbfs   what no playback may exceed, whatever any calibration says
    watch            told how far a playback is, and how loud the microphone's channel

    Raises DeviceError when PortAudio, a device or a channel is missing. Nothing sounds before `play_and_record`.
    """

    def __init__(self, connections: Connections, *, max_drive_dbfs: float, watch: Watch | None = None) -> None:
        self.connections = connections
        self.max_drive_dbfs = max_drive_dbfs
        self._watch = watch
        self._loopback: FloatArray | None = None
        self._output = find_card(connections.output, output=True)
        self._input = find_card(connections.input, output=False)
        require_channel(self._output, connections.output_channel, output=True)
        for channel in self._input_channels():
            require_channel(self._input, channel, output=False)
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
    def simulated(self) -> bool:
        """What it plays is heard."""
        return False

    def rest(self, seconds: float) -> None:
        """Wait for `seconds`."""
        time.sleep(seconds)

    def now(self) -> datetime:
        """The time of day."""
        return datetime.now(UTC)

    def loopback(self) -> FloatArray | None:
        """What the loopback channel recorded in the last run, beside the microphone's, sample for sample."""
        return self._loopback

    def play_and_record(self, playback: FloatArray, *, sample_rate: int) -> FloatArray:
        """What the microphone's channel recorded, `(samples,)`, full scale 1; longer than `playback` `(samples,)`.

        Ctrl-C fades the sound out, closes the stream and raises KeyboardInterrupt. Raises SignalError for what is no
        playback, DeviceError for one that is too loud or that the card cannot play, RecordingError when samples were
        lost on the way.
        """
        require_playable(playback)
        self._require_quiet_enough(playback, sample_rate)
        channels = self._input_channels()
        require_rate(self._output, sample_rate, channels=self.connections.output_channel, output=True)
        require_rate(self._input, sample_rate, channels=max(channels), output=False)
        run = Run(
            playback.astype(np.float32),
            lead_in=round(LEAD_IN_S * sample_rate),
            tail=round((TAIL_S + 2 * LATENCY_S) * sample_rate),
            channels=max(channels),
            sample_rate=sample_rate,
        )
        self._loopback = None
        self._perform(run, sample_rate, n_inputs=max(channels))
        if run.troubles:
            counted = ", ".join(f"{count} x {what}" for what, count in sorted(Counter(run.troubles).items()))
            raise RecordingError(
                f"the sound card lost samples ({counted}): close other programs, or ask for larger blocks with --block"
            )
        if len(channels) > 1:
            self._loopback = run.heard(channels[1] - 1)
        return run.heard(channels[0] - 1)

    def _input_channels(self) -> tuple[int, ...]:
        loopback = self.connections.loopback_channel
        microphone = self.connections.input_channel
        return (microphone,) if loopback is None else (microphone, loopback)

    def _perform(self, run: Run, sample_rate: int, *, n_inputs: int) -> None:
        library = device_library()
        column = self.connections.output_channel - 1
        watchdog = Watchdog(sample_rate, longest_s=LATE_LATENCIES * LATENCY_S)

        def callback(heard: Any, played: Any, *frames_time_status: Any) -> None:
            late = watchdog.late(len(played))
            status = frames_time_status[2]
            run.step(heard, played, column, str(status) if status else late)

        try:
            with library.Stream(
                samplerate=sample_rate,
                blocksize=self.connections.block_samples,
                device=(self._input.number, self._output.number),
                channels=(n_inputs, self.connections.output_channel),
                dtype="float32",
                latency=LATENCY_S,
                callback=callback,
            ):
                try:
                    self._wait(run, sample_rate)
                except KeyboardInterrupt:
                    run.stop()
                    run.done.wait(STALLED_S)
                    raise
        except library.PortAudioError as error:
            raise DeviceError(
                f"{self.name} cannot be used: {error}. Look whether another program holds it, and try another rate or "
                f"block size"
            ) from error

    def _wait(self, run: Run, sample_rate: int) -> None:
        """Until the run is done. Raises RecordingError when it stands still."""
        position, moved_at = 0, time.monotonic()
        while not run.done.wait(LOOK_S):
            if run.position > position:
                position, moved_at = run.position, time.monotonic()
            elif time.monotonic() - moved_at > STALLED_S:
                raise RecordingError(
                    f"the sound card stopped after {position / sample_rate:.1f} s: look at its cable and switch"
                )
            if self._watch is not None:
                peak = run.latest_peak(self.connections.input_channel - 1, 2 * round(LOOK_S * sample_rate))
                self._watch(position / run.length, float(amplitude_to_db(peak)))

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
