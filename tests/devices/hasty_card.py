"""Sound cards whose loudspeaker answers and whose clock runs as fast as it can: in place of PortAudio's module.

What the program does with a sound card it does here in the same code, in far less time, and without a gap. What a real
stream does in real time is tested over the virtual sound card.
"""

import threading
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np

from tests.devices.answering import LOUD, RATE, Answering, Playing

BLOCK = 480


Spoil = Callable[[np.ndarray, int], np.ndarray]


def as_heard(heard: np.ndarray, loud_samples: int) -> np.ndarray:
    """An input that delivers what the microphone hears."""
    return heard


class HastyLibrary:
    """Takes the place of the module sounddevice: two devices, "loudspeaker" and "microphone", of two channels each.

    On its channel 1 the microphone hears `device` answer to channel 1 of the loudspeaker, one block later; on its
    channel 2 what was played, as a cable would bring it back. `played` keeps all that was played.

    gap_samples, gap_after_s   so much silence slips in once, after so much time beyond `LOUD`: a buffer that ran out,
                               and nobody told
    spoil                      told what the microphone would hear `(samples,)` and how many samples beyond `LOUD` were
                               played until then; gives what its input delivers instead
    """

    class PortAudioError(Exception):
        """As the module's; never raised here."""

    def __init__(
        self,
        device: Answering,
        *,
        gap_samples: int = 0,
        gap_after_s: float = 0.0,
        spoil: Spoil = as_heard,
    ) -> None:
        self._playing = Playing(device)
        self._gap_samples, self._gap_after_s = gap_samples, gap_after_s
        self._spoil = spoil
        self.loud_samples = 0
        self._on_its_way = np.zeros((0, 2), np.float32)
        self._blocks: list[np.ndarray] = []
        self.default = SimpleNamespace(device=(1, 0))

    @property
    def played(self) -> np.ndarray:
        """`(samples,)`, of every stream since the beginning."""
        return np.concatenate(self._blocks) if self._blocks else np.zeros(0)

    def query_hostapis(self) -> list[dict[str, str]]:
        return [{"name": "hasty"}]

    def query_devices(self) -> list[dict[str, Any]]:
        return [
            {
                "name": name,
                "hostapi": 0,
                "max_output_channels": outputs,
                "max_input_channels": inputs,
                "default_samplerate": float(RATE),
            }
            for name, outputs, inputs in (("loudspeaker", 2, 0), ("microphone", 0, 2))
        ]

    def check_output_settings(self, **settings: Any) -> None:
        assert settings["samplerate"] == RATE

    check_input_settings = check_output_settings

    def Stream(self, *, callback: Any, **settings: Any) -> "HastyStream":  # noqa: N802 - the module's own name
        """Both ways at once."""
        assert (settings["samplerate"], settings["channels"]) == (RATE, (2, 2))
        return HastyStream(self, callback)

    def turn(self, played: np.ndarray) -> np.ndarray:
        """What the microphone hears `(samples, 2)` once `played` `(samples, 2)` has been played."""
        first = played[:, 0].astype(np.float64)
        self._blocks.append(first)
        answer = self._spoil(self._playing(first), self.loud_samples)
        heard = np.stack([answer, first], axis=1).astype(np.float32)
        self.loud_samples += int(np.count_nonzero(np.abs(first) > LOUD))
        if self._gap_samples and self.loud_samples > self._gap_after_s * RATE:
            self._on_its_way = np.zeros((self._gap_samples, 2), np.float32)
            self._gap_samples = 0
        heard = np.concatenate([self._on_its_way, heard])
        heard, self._on_its_way = heard[: len(played)], heard[len(played) :]
        return heard


class HastyStream:
    """Calls back from a thread of its own, without a pause, until it is closed."""

    def __init__(self, library: HastyLibrary, callback: Any) -> None:
        self._library = library
        self._callback = callback
        self._closed = threading.Event()
        self._thread = threading.Thread(target=self._run)

    @property
    def active(self) -> bool:
        """It calls back."""
        return self._thread.is_alive()

    def __enter__(self) -> "HastyStream":
        self._thread.start()
        return self

    def __exit__(self, *error: object) -> None:
        self._closed.set()
        self._thread.join()

    def _run(self) -> None:
        heard = np.zeros((BLOCK, 2), np.float32)
        while not self._closed.is_set():
            played = np.empty((BLOCK, 2), np.float32)
            self._callback(heard, played, BLOCK, None, None)
            heard = self._library.turn(played)
