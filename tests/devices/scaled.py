"""A loudspeaker and microphone that scale what is played by a gain that depends on its peak, and keep account of it."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import numpy as np

from distort.capture.devices.device import samples_in
from distort.capture.devices.guard import Guard, require_allowed
from signals.levels import amplitude_to_db, db_to_amplitude


class ScaledLoudspeaker:
    """What is heard is what was played times `gain_db + change_db(peak)`, in white noise, clipped at full scale.

    change_db   of the peak of the playback in dBFS: 0 for a linear loudspeaker. A sweep's peak is its drive (AES17),
                and one gain holds for a whole playback, so every frequency changes alike.
    noise       r.m.s., full scale 1
    """

    name = "scaled"
    simulated = False

    def __init__(
        self,
        *,
        gain_db: float = 0.0,
        change_db: Callable[[float], float] = lambda peak_dbfs: 0.0,
        noise: float = 1e-6,
    ) -> None:
        self.gain_db, self.change_db, self.noise = gain_db, change_db, noise
        self.played: list[np.ndarray] = []
        self.guards: list[Guard | None] = []
        self.rests: list[float] = []
        self._elapsed_s = 0.0

    def peaks_dbfs(self) -> list[float]:
        """Of every playback."""
        return [float(amplitude_to_db(np.max(np.abs(one)))) for one in self.played]

    def play_and_record(self, playback: np.ndarray, *, sample_rate: int, guard: Guard | None = None) -> np.ndarray:
        self.played.append(playback)
        self.guards.append(guard)
        self._elapsed_s += playback.size / sample_rate
        change_db = self.gain_db + self.change_db(self.peaks_dbfs()[-1])
        heard = np.pad(playback, (100, 4700)) * float(db_to_amplitude(change_db))
        heard += self.noise * np.random.default_rng(len(self.played)).standard_normal(heard.size)
        heard = np.clip(heard, -1.0, 1.0)
        require_allowed(heard, guard, sample_rate=sample_rate)
        return heard

    def record(self, seconds: float, *, sample_rate: int) -> np.ndarray:
        self._elapsed_s += seconds
        return self.noise * np.random.default_rng(0).standard_normal(samples_in(seconds, sample_rate))

    def loopback(self) -> None:
        return

    def rest(self, seconds: float) -> None:
        self.rests.append(seconds)
        self._elapsed_s += seconds

    def now(self) -> datetime:
        return datetime(2024, 5, 1, tzinfo=UTC) + timedelta(seconds=self._elapsed_s)
