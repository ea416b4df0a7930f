"""The simulated loudspeaker as a device: what is played goes in, what a microphone would have heard comes out."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import numpy.typing as npt

from distort.analysis.common.sound_in_air import speed_of_sound_m_s
from distort.capture.devices.device import require_playable, samples_in
from distort.capture.devices.guard import Guard, Listening, require_allowed
from distort.capture.devices.long_playing import Hear, LongPlayback
from distort.capture.simulated.faults import FAULTS, WORDS
from distort.capture.simulated.grid import Grid
from distort.capture.simulated.loudspeaker import Loudspeaker, Sound, State
from distort.capture.simulated.microphone import background_pa, calibrator_pa, converted
from distort.capture.simulated.parameters import Parameters
from distort.capture.simulated.path import path_response
from signals.errors import SignalError

FloatArray = npt.NDArray[np.float64]

TAIL_S = 0.5
"""How much longer than playback and latency a recording is."""

SILENCE_S = 1.0
"""Silence at the end of the simulated stretch, in which box and room ring out before it repeats."""

LOWEST_RATE = 32000
"""Below it the band of the woofer and of the crossover would not fit."""

TOLERANCE = 1e-7
"""The woofer's relaxation ends when nothing moves by more than this share of its range: -140 dB."""

STRETCH_S, OVERLAP_S = 10.0, 1.0
"""Of what is played for minutes: simulated at a time, and begun before it is heard. The room has decayed by 60 dB and
more in the latter, and the box by far more."""

LONGEST = 2**40
"""Samples of a recording of which nobody knows yet when it ends."""

ANALOGUE, CALIBRATOR, FAULT = 1, 2, 3
"""Streams of random numbers beside the room's, which is 0."""


class SimulatedMonitor:
    """An invented two-way active nearfield monitor in a room, heard by a microphone. Implements `Device`.

    condition   "desk" adds a reflection from the studio desk; every other name stands for a stand, and those in
                `faults.FAULTS` ("loose", "noisy-port", "rubbing-coil") for one fault besides
    seed        makes every take again exactly; the noise of two takes differs
    parameters  the whole table
    takes_before  how many takes there are already: those that follow have noise of their own
    """

    def __init__(
        self,
        condition: str = "stand",
        seed: int = 1,
        parameters: Parameters | None = None,
        *,
        takes_before: int = 0,
    ) -> None:
        self.condition = condition
        self.parameters = Parameters() if parameters is None else parameters
        self.state = State()
        self._seed = seed
        self._switched_on = datetime.now(UTC).replace(microsecond=0)
        self._elapsed_s = 0.0
        self._takes = takes_before
        self._calibrations = 0

    @property
    def name(self) -> str:
        """How sidecars and reports call it."""
        return "simulated monitor"

    @property
    def simulated(self) -> bool:
        """No real loudspeaker is heard."""
        return True

    @property
    def fault(self) -> str | None:
        """What is wrong with it in its condition; None: nothing."""
        return WORDS.get(self.condition)

    def rest(self, seconds: float) -> None:
        """Let coils and limiter relax for `seconds`. Raises SignalError when that is negative or not finite."""
        if not (math.isfinite(seconds) and seconds >= 0.0):
            raise SignalError(f"seconds of rest must be 0 or more, not {seconds}")
        self.state = self.state.rested(self.parameters, seconds)
        self._elapsed_s += seconds

    def now(self) -> datetime:
        """The simulated time: when it was made, plus all that it has played and rested since."""
        return self._switched_on + timedelta(seconds=self._elapsed_s)

    def play_and_record(self, playback: FloatArray, *, sample_rate: int, guard: Guard | None = None) -> FloatArray:
        """What the microphone heard, full scale 1, float64: playback, latency and half a second longer.

        `playback` is `(samples,)` with full scale 1. Raises SignalError when it is empty, not one channel, not finite
        or beyond full scale, or the rate is below 32 kHz; RecordingError when the woofer is driven beyond sense;
        TooLoudError or DeafError when the recording holds what `guard` does not allow.
        """
        _require_playable(playback, sample_rate)
        self._takes += 1
        self._elapsed_s += playback.size / sample_rate
        random = np.random.default_rng([self._seed, ANALOGUE, self._takes])
        random_fault = np.random.default_rng([self._seed, FAULT, self._takes])
        latency_s = random.uniform(*self.parameters.microphone.latency_s)
        n_recorded = playback.size + math.ceil((latency_s + TAIL_S) * sample_rate)
        grid = Grid.for_length(n_recorded + round(SILENCE_S * sample_rate), sample_rate)
        heard, sound = self._heard(playback, grid, latency_s=latency_s, random_fault=random_fault)
        self.state = sound.state_at(n_recorded - 1, grid)
        recording = self._recorded(heard[:n_recorded], sample_rate, random)
        require_allowed(recording, guard, sample_rate=sample_rate)
        return recording

    def play_long(self, playback: LongPlayback, *, sample_rate: int, hear: Hear, guard: Guard | None = None) -> None:
        """Play for minutes and hand on what is heard, as `LongDevice` says, stretch by stretch: each begins a second
        before it is heard, so that box, limiter and room ring as they would, and as warm as the one before it was then.

        Raises as `play_and_record`, and what `hear` raises.
        """
        _require_rate(sample_rate)
        self._takes += 1
        random = np.random.default_rng([self._seed, ANALOGUE, self._takes])
        random_fault = np.random.default_rng([self._seed, FAULT, self._takes])
        latency_s = random.uniform(*self.parameters.microphone.latency_s)
        tail = math.ceil((latency_s + TAIL_S) * sample_rate)
        listening = None if guard is None else Listening(guard, n_samples=LONGEST, sample_rate=sample_rate)
        overlap, stretch = round(OVERLAP_S * sample_rate), round(STRETCH_S * sample_rate)
        first = 0
        while first < playback.n_samples + tail:
            before = min(first, overlap)
            n = min(stretch, playback.n_samples + tail - first)
            # what comes after is played as well, since no filter here is causal to the last sample
            sent = playback.part(first - before, min(first + n + overlap, playback.n_samples + tail))
            require_playable(sent)
            grid = Grid.for_length(before + stretch + 2 * overlap, sample_rate)
            heard, sound = self._heard(sent, grid, latency_s=latency_s, random_fault=random_fault)
            last = first + n >= playback.n_samples + tail
            self.state = sound.state_at(before + n - (0 if last else overlap) - 1, grid)
            piece = self._recorded(heard[before : before + n], sample_rate, random)
            self._elapsed_s += n / sample_rate
            if listening is not None and (trouble := listening.hear(piece.astype(np.float32))):
                raise trouble
            hear(piece)
            first += n

    def _heard(
        self, playback: FloatArray, grid: Grid, *, latency_s: float, random_fault: np.random.Generator
    ) -> tuple[FloatArray, Sound]:
        """Pressure at the microphone in Pa, `(grid.n_samples,)`, without noise, and what the loudspeaker did."""
        padded = np.zeros(grid.n_samples)
        padded[: playback.size] = playback
        sound = Loudspeaker(self.parameters, grid).play(
            grid.spectrum(padded), start=self.state, settled=False, tolerance=TOLERANCE
        )
        pressure = sound.pressure
        if self.condition in FAULTS:
            pressure = pressure + FAULTS[self.condition](sound, self.parameters, grid, random_fault)
        room = self.parameters.room
        travel_s = room.distance_m / speed_of_sound_m_s(room.temperature_c)
        path = path_response(grid, room, condition=self.condition, seed=self._seed, delay_s=latency_s + travel_s)
        return grid.samples(pressure * path * grid.converter), sound

    def _recorded(self, heard: FloatArray, sample_rate: int, random: np.random.Generator) -> FloatArray:
        """Digital samples of that pressure with the noise of room and microphone."""
        room, microphone = self.parameters.room, self.parameters.microphone
        noise = background_pa(heard.size, sample_rate, room=room, microphone=microphone, random=random)
        return converted(heard + noise, microphone)

    def record(self, seconds: float, *, sample_rate: int) -> FloatArray:
        """The background of the room alone, `(samples,)`. Raises SignalError for a length or a rate that is none."""
        n_recorded = samples_in(seconds, sample_rate)
        _require_rate(sample_rate)
        self._takes += 1
        random = np.random.default_rng([self._seed, ANALOGUE, self._takes])
        room, microphone = self.parameters.room, self.parameters.microphone
        heard = background_pa(n_recorded, sample_rate, room=room, microphone=microphone, random=random)
        self.rest(seconds)
        return converted(heard, microphone)

    def loopback(self) -> None:
        """Nothing: no cable leads from its output to its input."""
        return

    def calibrator_recording(
        self,
        *,
        db_spl: float = 94.0,
        frequency_hz: float = 1000.0,
        seconds: float = 10.0,
        sample_rate: int = 48000,
    ) -> FloatArray:
        """What the same microphone hears in a sound calibrator of `db_spl`, `(samples,)`, full scale 1."""
        self._calibrations += 1
        random = np.random.default_rng([self._seed, CALIBRATOR, self._calibrations])
        microphone = self.parameters.microphone
        sound = calibrator_pa(
            round(seconds * sample_rate),
            sample_rate,
            frequency_hz=frequency_hz,
            db_spl=db_spl,
            microphone=microphone,
            random=random,
        )
        return converted(sound, microphone)


def _require_playable(playback: FloatArray, sample_rate: int) -> None:
    _require_rate(sample_rate)
    require_playable(playback)


def _require_rate(sample_rate: int) -> None:
    if sample_rate < LOWEST_RATE:
        raise SignalError(
            f"the simulated loudspeaker needs a sample rate of {LOWEST_RATE} Hz or more, not {sample_rate}"
        )
