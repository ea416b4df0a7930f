"""The wire of `scaled` with a coil that warms behind it, of known time constants; it can play for minutes."""

import numpy as np

from distort.capture.devices.guard import Guard, Listening
from distort.capture.devices.long_playing import Hear, LongPlayback
from signals.levels import db_to_amplitude
from tests.devices.scaled import ScaledLoudspeaker

STRETCH_S = 1.0
DELAY = 100


class HeatedLoudspeaker(ScaledLoudspeaker):
    """What it plays for minutes loses `sum of losses_db (1 - exp(-t / taus_s))` in dB, t the seconds that it has been
    louder than `loud_rms`, and gets it back as `exp(-t / taus_s)` once it is not: first-order stages, exactly.

    breaks_off  after so many seconds it raises that
    """

    def __init__(
        self,
        *,
        losses_db: tuple[float, ...] = (1.0, 0.6),
        taus_s: tuple[float, ...] = (9.0, 120.0),
        loud_rms: float = 0.0,
        breaks_off: tuple[float, BaseException] | None = None,
        noise: float = 1e-6,
    ) -> None:
        super().__init__(noise=noise)
        self.losses_db, self.taus_s = np.array(losses_db), np.array(taus_s)
        self.loud_rms, self.breaks_off = loud_rms, breaks_off
        self.state = np.zeros(len(losses_db))
        self.heard_s = 0.0

    def play_long(self, playback: LongPlayback, *, sample_rate: int, hear: Hear, guard: Guard | None = None) -> None:
        """In pieces of a second; gain by sample within each."""
        random = np.random.default_rng(7)
        listening = None if guard is None else Listening(guard, n_samples=10**9, sample_rate=sample_rate)
        n, position = round(STRETCH_S * sample_rate), 0
        kept = np.zeros(DELAY)
        while position < playback.n_samples + n:
            sent = playback.part(position, position + n)
            loud = np.sqrt(np.mean(np.square(sent).reshape(-1, n // 100), axis=1)) > self.loud_rms
            gain_db = np.repeat(self._gains(loud, STRETCH_S / 100.0), n // 100)
            heard = np.concatenate([kept, sent * db_to_amplitude(gain_db)])
            kept, heard = heard[n:], heard[:n] + self.noise * random.standard_normal(n)
            self._elapsed_s += STRETCH_S
            self.heard_s += STRETCH_S
            if listening is not None and (trouble := listening.hear(heard.astype(np.float32))):
                raise trouble
            hear(heard)
            position += n
            if self.breaks_off is not None and position >= self.breaks_off[0] * sample_rate:
                raise self.breaks_off[1]

    def _gains(self, loud: np.ndarray, step_s: float) -> np.ndarray:
        found = np.empty(loud.size)
        for index, on in enumerate(loud):
            self.state += (1.0 - np.exp(-step_s / self.taus_s)) * (float(on) - self.state)
            found[index] = -float(self.losses_db @ self.state)
        return found
