"""Where in a long recording a reel lies, by its clock chirps, and how the recorder's clock stands against the player's.

The chirps are followed one after another: each is sought where the one before it says. How far apart they lie tells the
reel (its rests have lengths of their own), the clocks, and whether something was lost between two of them.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.errors import RecordingError
from distort.recording.alignment.chirp_places import ChirpHeard, Peaks, find_peaks, hear_chirp, resampled_chirp
from distort.recording.alignment.clock import LARGEST_CLOCK_DIFFERENCE
from distort.session.audio.long_recording import LongRecording
from distort.session.recordings.reel_file import ReelPart, SessionReel
from signals import Chirp, SignalError

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

FOLLOW_S = 0.5
"""How far from its place a chirp is sought: silence reaches that far about each, so only a chirp is like one there."""

COARSE_S = 2e-3
"""Exactness of a place before it is looked at closely: the early room may be as strong as the direct sound."""

STANDS_OUT_DB = 16.0
"""Above the filter's output before it. Of 5000 values of noise alone, the highest stands 12 dB above their r.m.s."""

SAME_SAMPLES = 1.0
"""A distance that is off by more than one sample of the recording, beyond noise and wander, has lost or gained some."""

WANDER = 1e-6
"""By which a clock may wander within minutes, or air that warms by 3 K change the way over a metre (common practice, no
source): 76 microseconds over a rest of a minute and its stimulus."""

SIGMAS = 5.0
"""Noise alone passes that once in a million."""


@dataclass(frozen=True, kw_only=True)
class Mark:
    """One chirp of a reel, and what it stands beside."""

    start: int
    """First sample in the reel."""
    part: int | None
    """Index of its part; None: the closing chirp."""
    before: bool
    """It comes before the part's stimulus."""
    silence_s: float
    """How long nothing was played before it, seconds; infinite for the first."""


@dataclass(frozen=True, kw_only=True)
class FoundReel:
    """A reel in a recording: what was heard of its chirps."""

    reel: SessionReel
    marks: tuple[Mark, ...]
    heard: tuple[ChirpHeard | None, ...]
    """One a mark; None where there is none."""
    rate: float
    """Nominal samples of the recording for one of the reel."""
    clock: float
    """Recorder against player, a ratio less 1, from all chirps."""
    clock_sigma: float
    """Its standard deviation; NaN with fewer than two chirps."""
    n_recorded: int

    def place(self, sample: float) -> float:
        """Where a sample of the reel lies in the recording, by the nearest chirp before it that was heard, or after."""
        known = [(mark.start, one.place) for mark, one in zip(self.marks, self.heard, strict=True) if one is not None]
        before = [pair for pair in known if pair[0] <= sample]
        start, place = before[-1] if before else known[0]
        return place + (sample - start) * self.rate * (1.0 + self.clock)

    def spans(self, part: ReelPart) -> tuple[float, float]:
        """(first, end) samples of `part` in the recording."""
        start = self.reel.part_start(part)
        return self.place(start), self.place(start + self.reel.part_reel(part).n_samples)

    def heard_both(self, index: int) -> bool:
        """Whether both chirps of the part `index` were heard."""
        pairs = zip(self.marks, self.heard, strict=True)
        return all(one is not None for mark, one in pairs if mark.part == index)


def marks_of(reel: SessionReel) -> tuple[Mark, ...]:
    """Every chirp of a reel in its order."""
    marks = []
    after_part_s = math.inf
    for index, part in enumerate(reel.parts):
        start, framed = reel.part_start(part), reel.part_reel(part)
        first, last = framed.chirp_starts()
        rest_s = math.inf if part.rest_s is None else part.rest_s
        silence_s = after_part_s + rest_s + first / reel.sample_rate
        marks.append(Mark(start=start + first, part=index, before=True, silence_s=silence_s))
        stimulus_start, stimulus = framed.only_stimulus()
        gap = last - stimulus_start - stimulus.n_samples
        marks.append(Mark(start=start + last, part=index, before=False, silence_s=gap / reel.sample_rate))
        after_part_s = (framed.n_samples - last) / reel.sample_rate
    closing = reel.reel.chirp_starts()[-1]
    silence_s = (closing - marks[-1].start) / reel.sample_rate
    return (*marks, Mark(start=closing, part=None, before=True, silence_s=silence_s))


def find_session_reel(recording: LongRecording, reels: Sequence[SessionReel]) -> FoundReel:
    """The one of `reels` that `recording` holds, perhaps not whole: see `require_whole`.

    Raises RecordingError when it holds none of them.
    """
    followed = []
    peaks_of: dict[object, Peaks] = {}
    for reel in reels:
        try:
            chirp = resampled_chirp(reel.chirp, recording.sample_rate)
        except SignalError as error:
            raise RecordingError(
                f"{recording.what} is at {recording.sample_rate} Hz, too low for the chirps of the reel "
                f"({reel.chirp.high_hz:g} Hz): record at 44.1 kHz or more"
            ) from error
        key = (chirp.high_hz, chirp.seconds)
        if key not in peaks_of:
            peaks_of[key] = find_peaks(recording, chirp)
        followed.append(_follow(reel, peaks_of[key], recording))
    best = max(followed, key=lambda one: one.score)
    _require_this_reel(best, recording, [one.reel for one in followed])
    return _placed(best, recording)


@dataclass(frozen=True, kw_only=True)
class _Followed:
    reel: SessionReel
    marks: tuple[Mark, ...]
    places: FloatArray  # NaN where no peak was
    score: float
    rests_same: int  # distances across a rest, which tell the reel, that are as they should be
    rests: int  # that could be looked at


def _follow(reel: SessionReel, peaks: Peaks, recording: LongRecording) -> _Followed:
    """The best way to read peaks as the reel's chirps: from every peak as every chirp, forwards and backwards."""
    marks = marks_of(reel)
    rate = recording.sample_rate / reel.sample_rate
    expected = np.array([mark.start for mark in marks]) * rate
    best = _scored(reel, marks, np.full(expected.size, np.nan), expected, rate=recording.sample_rate)
    strongest = np.argsort(-peaks.likeness, kind="stable")[: 4 * len(marks)]
    explained: set[tuple[int, int]] = set()
    for peak in strongest:
        for mark in range(len(marks)):
            if (int(peak), mark) in explained:
                continue
            chain = _chain(peaks, expected, peak=int(peak), mark=mark, reach=FOLLOW_S * recording.sample_rate)
            explained |= {(found, index) for index, found in enumerate(chain) if found >= 0}
            places = np.where(chain >= 0, peaks.place[chain], np.nan)
            one = _scored(reel, marks, places, expected, rate=recording.sample_rate)
            best = max(best, one, key=lambda candidate: candidate.score)
    return best


def _chain(peaks: Peaks, expected: FloatArray, *, peak: int, mark: int, reach: float) -> IntArray:
    """Index of the peak that is each chirp if `peak` is chirp `mark`; -1 where there is none."""
    chain = np.full(expected.size, -1)
    chain[mark] = peak
    for order in (range(mark + 1, expected.size), range(mark - 1, -1, -1)):
        place, at = peaks.place[peak], expected[mark]
        for index in order:
            place, at = place + expected[index] - at, expected[index]
            low, high = np.searchsorted(peaks.place, [place - reach, place + reach])
            if high > low:
                chain[index] = low + int(np.argmax(peaks.likeness[low:high]))
                place = peaks.place[chain[index]]
    return chain


def _scored(
    reel: SessionReel, marks: tuple[Mark, ...], places: FloatArray, expected: FloatArray, *, rate: int
) -> _Followed:
    """Distances that are as they should be count; those across a rest, which tell one reel from another, doubly."""
    gaps, distances = np.diff(expected), np.diff(places)
    same = np.abs(distances - gaps) <= LARGEST_CLOCK_DIFFERENCE * gaps + COARSE_S * rate
    across = np.array([mark.before for mark in marks[1:]])
    known = np.isfinite(distances)
    return _Followed(
        reel=reel,
        marks=marks,
        places=places,
        score=float(np.sum(same) + 2.0 * np.sum(same & across)),
        rests_same=int(np.sum(same & across)),
        rests=int(np.sum(known & across)),
    )


def _require_this_reel(best: _Followed, recording: LongRecording, reels: Sequence[SessionReel]) -> None:
    names = " or ".join(f"stimuli/{reel.file}" for reel in reels)
    if np.sum(np.isfinite(best.places)) < 2:
        raise RecordingError(
            f"{recording.what} holds nothing like {names}: was it the microphone's channel, and was the reel loud "
            f"enough over the noise?"
        )
    if best.score < 1 or 2 * best.rests_same < best.rests:
        raise RecordingError(
            f"{recording.what} holds another reel than {names}: only {best.rests_same} of {best.rests} rests between "
            f"its chirps are as long as they should be; add it to the session that its reel was made in"
        )


def _placed(best: _Followed, recording: LongRecording) -> FoundReel:
    """Each chirp placed exactly, and the clock that all of them tell."""
    chirp = resampled_chirp(best.reel.chirp, recording.sample_rate)
    rate = recording.sample_rate / best.reel.sample_rate
    expected = np.array([mark.start for mark in best.marks]) * rate
    coarse = _median_clock(best.places, expected)
    heard = _hear(best.places, recording, chirp=chirp, clock=coarse)
    clock = _median_clock(np.array([math.nan if one is None else one.place for one in heard]), expected)
    heard = _hear(best.places, recording, chirp=chirp, clock=clock)
    clock, sigma = _fitted_clock(heard, expected)
    return FoundReel(
        reel=best.reel,
        marks=best.marks,
        heard=heard,
        rate=rate,
        clock=clock,
        clock_sigma=sigma,
        n_recorded=recording.n_samples,
    )


def _hear(places: FloatArray, recording: LongRecording, *, chirp: Chirp, clock: float) -> tuple[ChirpHeard | None, ...]:
    heard = [
        None if math.isnan(place) else hear_chirp(recording, chirp, near=float(place), clock=clock) for place in places
    ]
    return tuple(one if one is not None and one.margin_db >= STANDS_OUT_DB else None for one in heard)


def _median_clock(places: FloatArray, expected: FloatArray) -> float:
    """Of the distances between neighbours: most are whole even where something was lost. 0 when none is known."""
    known = np.flatnonzero(np.isfinite(places))
    if known.size < 2:
        return 0.0
    ratios = np.diff(places[known]) / np.diff(expected[known]) - 1.0
    clock = float(np.median(ratios))
    return clock if abs(clock) < 2.0 * LARGEST_CLOCK_DIFFERENCE else 0.0


def _fitted_clock(heard: Sequence[ChirpHeard | None], expected: FloatArray) -> tuple[float, float]:
    """Weighted straight line through the places, and its slope's standard deviation."""
    known = [(at, one) for at, one in zip(expected, heard, strict=True) if one is not None]
    if len(known) < 2:
        return 0.0, math.nan
    at = np.array([pair[0] for pair in known])
    late = np.array([pair[1].place for pair in known]) - at
    weight = 1.0 / np.square(np.array([max(pair[1].sigma, 1e-6) for pair in known]))
    centred = at - np.average(at, weights=weight)
    spread = float(np.sum(weight * np.square(centred)))
    return float(np.sum(weight * centred * late)) / spread, 1.0 / math.sqrt(spread)


def require_whole(found: FoundReel, *, what: str) -> None:
    """Raises RecordingError, naming the reason, when the recording does not hold the whole reel, unbroken.

    It may be cut off, lack a chirp, or hold distances between chirps that no clock explains.
    """
    _require_all_heard(found, what=what)
    ratio = found.rate * (1.0 + _median_clock(_places(found), _expected(found)))
    for (before, first), (after, second) in itertools.pairwise(_pairs(found)):
        gap = (after.start - before.start) * ratio
        off = second.place - first.place - gap
        allowed = SAME_SAMPLES + WANDER * gap + SIGMAS * math.hypot(first.sigma, second.sigma)
        if abs(off) > allowed:
            ms = 1000.0 * off / (found.rate * found.reel.sample_rate)
            where = _between(found, before, after)
            raise RecordingError(
                f"{what}: {abs(ms):.2g} ms {'were lost' if ms < 0 else 'too much lie'} {where}, which no "
                f"difference of clocks explains: the player, the link or the recorder dropped or repeated a section; "
                f"record the reel again"
            )


def _require_all_heard(found: FoundReel, *, what: str) -> None:
    rate = found.rate * found.reel.sample_rate
    for mark, one in zip(found.marks, found.heard, strict=True):
        if one is not None:
            continue
        place = found.place(mark.start)
        if place < 0:
            raise RecordingError(
                f"{what} is cut off at its start: it begins {-place / rate:.1f} s after the chirp "
                f"{_beside(found, mark)}; start recording before playing, and record again"
            )
        if place + found.reel.chirp.n_samples * found.rate > found.n_recorded:
            missing_s = (place - found.n_recorded) / rate + found.reel.chirp.seconds
            raise RecordingError(
                f"{what} is cut off at its end: it stops {missing_s:.1f} s before the end of the chirp "
                f"{_beside(found, mark)}; stop recording after the reel is over, and record again"
            )
        raise RecordingError(
            f"{what}: the chirp {_beside(found, mark)} is not heard where it should be, at {place / rate:.1f} s: "
            f"a noise covers it or a section is missing; record the reel again"
        )


def _pairs(found: FoundReel) -> list[tuple[Mark, ChirpHeard]]:
    return [(mark, one) for mark, one in zip(found.marks, found.heard, strict=True) if one is not None]


def _places(found: FoundReel) -> FloatArray:
    return np.array([math.nan if one is None else one.place for one in found.heard])


def _expected(found: FoundReel) -> FloatArray:
    return np.asarray(np.array([mark.start for mark in found.marks]) * found.rate)


def _beside(found: FoundReel, mark: Mark) -> str:
    if mark.part is None:
        return "at its end"
    return f"{'before' if mark.before else 'after'} {found.reel.parts[mark.part].name.stem}"


def _between(found: FoundReel, before: Mark, after: Mark) -> str:
    if before.part is not None and before.part == after.part:
        return f"in {found.reel.parts[before.part].name.stem}"
    return f"between the chirps {_beside(found, before)} and {_beside(found, after)}"
