"""One input of a sound card, which only listens: to a calibrator, or to a player that no cable reaches."""

from typing import Any

import numpy as np
import numpy.typing as npt

from distort.capture.devices.card_refusals import SAMPLES_OF_A_BLOCK
from distort.capture.devices.device import samples_in
from distort.capture.devices.pauses import of_this_process
from distort.capture.devices.playing import Run, Watchdog
from distort.capture.devices.sound_systems import (
    channels_to_open,
    device_library,
    find_card,
    require_channel,
    require_rate,
)
from distort.capture.devices.streaming import LATE_LATENCIES, LEAD_IN_S, Watch, follow, latency_s, require_whole

FloatArray = npt.NDArray[np.float64]


class SoundInput:
    """Implements `Microphone` on PortAudio.

    wanted          the card as in `find_card`; None: the system's default input
    channel         the microphone's, counted from 1
    block_samples   about how many samples a block has; 0: as this program likes
    watch           told how far a recording is, and how loud

    Raises DeviceError when PortAudio, the device or the channel is missing.
    """

    def __init__(
        self, wanted: str | None = None, *, channel: int = 1, block_samples: int = 0, watch: Watch | None = None
    ) -> None:
        self.card = find_card(wanted, output=False)
        require_channel(self.card, channel, output=False)
        self._channel = channel
        self._block_samples = block_samples
        self._watch = watch

    @property
    def name(self) -> str:
        """Host API, device and channel."""
        return f"{self.card.name} ({self.card.host_api}), input {self._channel}"

    def record(self, seconds: float, *, sample_rate: int) -> FloatArray:
        """What the channel hears in `seconds`, `(samples,)`, full scale 1, once the stream runs without gaps.

        Ctrl-C closes the stream and raises KeyboardInterrupt. Raises SignalError for a length that is none, DeviceError
        when the card cannot record so, RecordingError when samples were lost on the way.
        """
        n_samples = samples_in(seconds, sample_rate)
        n_channels = channels_to_open(self._channel, self.card.inputs)
        require_rate(self.card, sample_rate, channels=n_channels, output=False)
        run = Run(
            np.zeros(n_samples, np.float32),
            lead_in=round(LEAD_IN_S * sample_rate),
            tail=0,
            channels=n_channels,
            sample_rate=sample_rate,
        )
        latency = latency_s(self._block_samples, sample_rate)
        watchdog = Watchdog(sample_rate, longest_s=LATE_LATENCIES * latency)

        def callback(heard: Any, *frames_time_status: Any) -> None:
            late, _ = watchdog.late(len(heard))  # nothing sounds here, so a pause costs no more than the recording
            status = frames_time_status[2]
            nothing_played = np.empty((len(heard), 1), np.float32)
            run.step(heard, nothing_played, 0, str(status) if status else late)

        def stream() -> Any:
            return device_library().InputStream(
                samplerate=sample_rate,
                device=self.card.number,
                channels=n_channels,
                dtype="float32",
                latency=latency,
                callback=callback,
            )

        follow(
            run,
            stream,
            what=self.name,
            sample_rate=sample_rate,
            channel=self._channel,
            watch=self._watch,
            pauses=of_this_process(),
        )
        require_whole(run, block_samples=self._block_samples, most=SAMPLES_OF_A_BLOCK[1], sample_rate=sample_rate)
        return run.heard(self._channel - 1)
