"""What is heard of a long heating: written as it comes, and followed, so that it ends where it changed too far."""

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from distort.analysis.heating.following import STOP_DB, cold_pilot, largest_change_db
from distort.analysis.heating.loud_follower import LoudFollower
from distort.analysis.heating.periods import CHUNK_PERIODS, ChunkRead, readable, third_octaves
from distort.analysis.heating.places import Place, stretch_needed
from distort.analysis.heating.result import REFERENCE_PERIOD
from distort.capture.heating.playback import HeatingPlayback
from distort.capture.measuring.third_octaves import LOUDER_DB
from distort.errors import AnalysisError, TooLoudError
from distort.recording.quality.examined import Examined, examine
from distort.session.audio.long_writing import LongFile
from distort.session.recordings.sidecar import Quality, Verdict
from signals.heating import LEAST_PERIODS, Heating
from signals.levels import FULL_SCALE_SINE_RMS, power_to_db
from signals.long_reel import beginning_of

FloatArray = npt.NDArray[np.float64]

LATE_S = 1.0
"""After the pilot by the delay of the quiet run, it is looked for: another stream may bring it that much later. Half of
the pause after it, so that it is judged before anything is loud."""

NOT_ASKED_OF_A_PILOT = ("level", "clock")

UNSURE_S = 0.5
"""Of the end of what was heard that is not believed: it may have been faded out, or lost."""


class HeatingRecorder:
    """Is given what is heard, piece by piece.

    delay_s        from what is sent to what is heard, by the quiet run
    expected_dbfs  r.m.s. of the loud multitone at the input, as the quiet run foretells it
    what           names the recording in errors
    """

    def __init__(
        self, playback: HeatingPlayback, file: LongFile, *, delay_s: float, expected_dbfs: float, what: str
    ) -> None:
        self._playback, self._file, self._what = playback, file, what
        self._delay_s, self._expected_dbfs = delay_s, expected_dbfs
        self.heard = 0
        self.examined: Examined | None = None
        self.difference_ppm: float | None = None
        self.changed: tuple[float, float] | None = None
        """By how many dB a third octave had changed when that ended it, and its mid-band, Hz; None: nothing has."""
        self._pieces: list[FloatArray] = []
        self._first = 0
        self._follower: LoudFollower | None = None
        self._read = 0
        self._reference: FloatArray | None = None
        self._unreadable = False

    def __call__(self, piece: FloatArray) -> None:
        """The next `(n,)` samples. Raises RecordingError, TooLoudError or AnalysisError where it must not go on, and
        SessionError where they cannot be written."""
        self._file.write(piece)
        self.heard += piece.size
        if self._done:
            return
        self._pieces.append(piece)
        if self._follower is None and self.heard >= self._pilot_heard:
            self._find()
        while (follower := self._next_chunk()) is not None:
            self._follow(follower)

    @property
    def _heating(self) -> Heating:
        return self._playback.heating

    @property
    def _pilot_heard(self) -> int:
        """So many samples hold the first pilot for certain."""
        later = round((self._delay_s + LATE_S) * self._heating.sample_rate)
        return self._playback.begins + self._heating.pilot.n_samples + later

    @property
    def _done(self) -> bool:
        return self.changed is not None or self._heating.loud_periods - self._read < CHUNK_PERIODS

    def _part(self, first: int, end: int) -> FloatArray:
        held = np.concatenate(self._pieces)
        self._pieces = [held]
        inside = held[max(first - self._first, 0) : max(end - self._first, 0)]
        before = max(self._first - first, 0)
        return np.pad(inside, (before, max(end - first - before - inside.size, 0)))

    def _find(self) -> None:
        """Find and check the beginning, and hold the pilot against what the quiet run foretold before it goes on."""
        heating = self._heating
        examined = examine(self._part(0, self._pilot_heard), beginning_of(heating), what=self._what)
        start = examined.alignment.stimulus_start
        cold, place = cold_pilot(self._part, heating, Place(start=start))
        power = np.mean(cold.power, axis=0)
        clear = readable(power, cold.noise)
        louder_db = float(power_to_db(np.sum(power[clear]) / FULL_SCALE_SINE_RMS**2)) - (
            self._expected_dbfs - heating.pilot_below_db
        )
        if louder_db > LOUDER_DB:
            raise TooLoudError(
                f"stopped: {self._what} began {louder_db:.1f} dB louder than the quiet run foretold, and up to "
                f"{LOUDER_DB:g} dB are allowed. Look whether a volume or a gain was turned up"
            )
        self.examined, self.difference_ppm = examined, place.difference_ppm
        self._follower = LoudFollower(heating.tone, place)

    def _next_chunk(self) -> LoudFollower | None:
        """What reads the next chunk, once that is there and still wanted."""
        follower = self._follower
        if follower is None or self._done:
            return None
        needed = stretch_needed(follower.place, self._heating.tone, CHUNK_PERIODS)[1]
        return follower if self.heard >= needed else None

    def _follow(self, follower: LoudFollower) -> None:
        """A chunk that something else drowned says nothing: what is too loud is ended by the guard, in it as well."""
        try:
            read = follower.read(self._part, CHUNK_PERIODS)
        except AnalysisError:
            self._unreadable = True
            raise
        self._read += CHUNK_PERIODS
        if read is not None:
            self._judge(read)
        keep = math.floor(follower.place.start) - round(UNSURE_S * self._heating.sample_rate)
        held = self._part(keep, self.heard)
        self._pieces, self._first = [held], keep

    def _judge(self, read: ChunkRead) -> None:
        first = read.power[REFERENCE_PERIOD]
        if self._reference is None:
            self._reference = np.zeros(first.size)
        fresh = (self._reference == 0.0) & readable(first, read.noise)  # what a noise drowned is told from later on
        self._reference[fresh] = first[fresh]
        found = largest_change_db(self._reference, read)
        if found is not None and abs(found[0]) >= STOP_DB:
            self.changed = found[0], float(third_octaves(self._heating.tone)[0][found[1]])
            self._playback.end_loud_soon()

    def quality(self) -> Quality:
        """What the check says of the beginning, less what the pilot is meant to be: quiet, and without a second chirp,
        since its clock is told by the lines. Raises ValueError where nothing was found."""
        if self.examined is None:
            raise ValueError("a recording that was not found has no quality")
        kept = [one for one in self.examined.quality.findings if one.name not in NOT_ASKED_OF_A_PILOT]
        verdict: Verdict = "usable" if any(one.verdict != "good" for one in kept) else "good"
        quality = replace(self.examined.quality, verdict=verdict, findings=tuple(kept))
        return replace(self.examined, quality=quality).for_sidecar()

    def whole(self) -> Heating | None:
        """What of the heating was heard whole, up to a chunk that could not be read; None where that is too little to
        say anything."""
        if self.examined is None:
            return None
        heating, rate = self._heating, self._heating.sample_rate
        stretch = 1.0 + 1e-6 * (self.difference_ppm or 0.0)
        until = (self.heard - UNSURE_S * rate - self.examined.alignment.stimulus_start) / stretch
        periods = int((until - heating.loud_start) // heating.tone.period_samples)
        if self._unreadable:  # samples were lost after that, or it was long unreadable: an analysis would stop as well
            periods = min(periods, 0 if self._follower is None else self._follower.certain_periods)
        if periods < LEAST_PERIODS:
            return None
        if periods < heating.loud_periods:
            return heating.ended_after(periods, pilots=0)
        pilots = sum(start + heating.pilot.n_samples <= until for start in heating.pilot_starts)
        return heating.ended_after(heating.loud_periods, pilots=pilots)
