"""Was anything lost, played twice or turned while it was recorded? Chirps, stimulus and time against one another."""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from distort.recording.alignment.locating import Alignment
from distort.recording.kinds import aligned
from distort.recording.quality.check_result import CheckResult, Verdict
from distort.recording.quality.chirp_response import Markers, Path, band_edges_hz, markers
from distort.recording.quality.track import Track, band_gains_db, multitone_agreement, track
from signals import Reel

FloatArray = npt.NDArray[np.float64]

LEAST_JUMP = 0.5
"""Samples. Nothing less than one is ever lost; half of one is above what air, heat and noise do."""

USUAL_CLOCK = 1e-4
"""One crystal of 100 ppm against a good one (common practice, no source)."""

CLEAR_SIGMAS = 6.0

LONGEST_JUMP = 1e4
"""Samples: the standard deviation of a point within which the jump lies."""

LEAVING_OUT = 9.0
"""By how much a point must spoil the fit (three standard deviations, squared) to be left out of it."""

LEAST_STEP_DB = 0.1
"""Half of the smallest change of gain that is worth knowing, 0.2 dB."""

UNIFORM_SHARE = 0.12
"""A gain changes all bands alike. Heated coils seldom do, and while they cool the stimulus was weaker still."""

CALM_DB = 0.06
"""What the stimulus may differ by from one of the two chirps, for a change before or after it."""

CALM_BANDS = 5
"""Highest bands of a sweep in which that must hold: below, what is driven harder than the chirps may be compressed."""

GAIN_REFUSE_DB = 1.0
"""As much as a tenth of the distortion, and several times what a loudspeaker's compression is looked into for."""

LEAST_RISE_DB = 0.2
"""In the highest bands: a loudspeaker that was hot from before gains less than this while it cools."""

SETTLING_SHARE = 0.3
"""What is left of a change after one point at most, where it is taken for sudden."""

SUDDEN = 4.0
"""Times the usual change from point to point: heat creeps, a gain jumps."""


@dataclass(frozen=True, kw_only=True)
class Jump:
    """Where time jumps."""

    samples: float
    """Positive: so many were played twice; negative: lost."""
    sigma: float
    low_share: float
    high_share: float
    """Between which places it lies: 0 at the first chirp, 1 at the last."""
    misfit: float
    """Sum of squares, in standard deviations, that it leaves."""


@dataclass(frozen=True, kw_only=True)
class Continuity:
    """What chirps, stimulus and time say of one another."""

    jump: Jump | None
    """None where no samples were lost or played twice, or nothing tells."""
    clock_difference_ppm: float
    """With the jump taken out of it."""
    agreement: float
    """Of a multitone's phases with those played, 0 to 1; 1 for every other stimulus, and where nothing tells."""
    unevenness: float
    """Of the path between 1 and 11 kHz: r.m.s. deviation from a constant that both chirps show, re that constant; NaN
    without chirps."""
    findings: tuple[CheckResult, ...]
    """`continuity`, or `dropped` or `repeated`; and `gain`."""


def continuity(samples: FloatArray, reel: Reel, alignment: Alignment) -> Continuity:
    """Hold `samples` `(n,)`, at the reel's rate, against the chirps; without two of them there are no findings."""
    found = markers(samples, reel, alignment)
    if found is None:
        return Continuity(
            jump=None,
            clock_difference_ppm=alignment.clock_difference_ppm,
            agreement=1.0,
            unevenness=math.nan,
            findings=(),
        )
    # beyond the usual difference something may have been lost, and the stimulus as a rule not stretched at all
    clocks = (found.clock,) if abs(found.clock) < USUAL_CLOCK else (found.clock, 0.0)
    tracks = [
        along for clock in clocks if (along := _along(samples, reel, alignment, found=found, clock=clock)) is not None
    ]
    along = min(tracks, key=lambda one: best_jump(one).misfit, default=None)
    jump = None if along is None else _clear(best_jump(along))
    if jump is not None:  # what was lost looks like a clock: once more with the clock that is left without it
        again = _along(samples, reel, alignment, found=found, clock=_without(jump, found))
        jump = jump if again is None else _clear(best_jump(again))
    return Continuity(
        jump=jump,
        clock_difference_ppm=1e6 * (found.clock if jump is None else _without(jump, found)),
        agreement=_agreement(samples, reel, found, jump=jump),
        unevenness=_unevenness(found.before, found.after),
        findings=(_jump_finding(along, jump, found), _gain(along, found)),
    )


def _agreement(samples: FloatArray, reel: Reel, found: Markers, *, jump: Jump | None) -> float:
    """With the clock as the chirps tell it, or with what is left of it without a jump, or without any."""
    first, stimulus = reel.only_stimulus()
    if not aligned(stimulus).repeats:
        return 1.0
    clocks = {0.0, found.clock} if jump is None else {0.0, found.clock, _without(jump, found)}
    return max(
        multitone_agreement(samples, stimulus, found.before, at=replace(found, clock=clock).arrival(first), clock=clock)
        for clock in clocks
    )


def _unevenness(before: Path, after: Path) -> float:
    """From the product of both chirps' paths: the noise of one is not that of the other, and falls out."""
    inside = (before.frequency_hz >= before.low_hz) & (before.frequency_hz <= before.high_hz)
    one, other = before.values[inside], after.values[inside]
    mean, other_mean = np.mean(one), np.mean(other)
    common = np.mean((one - mean) * np.conj(other - other_mean))
    return math.sqrt(float(abs(common) / max(abs(mean) * abs(other_mean), 1e-300)))


def _without(jump: Jump, found: Markers) -> float:
    """The clock difference that the chirps would have told without the jump."""
    return found.clock - jump.samples / found.distance


def _along(samples: FloatArray, reel: Reel, alignment: Alignment, *, found: Markers, clock: float) -> Track | None:
    """The track, the stimulus looked for as `clock` stretches it, and the delay re the line from chirp to chirp."""
    believed = found if clock == found.clock else markers(samples, reel, alignment, clock=clock)
    along = None if believed is None else track(samples, reel, believed)
    if along is None:
        return None
    return replace(along, delay=along.delay - along.share * (found.clock - clock) * found.distance)


def _clear(jump: Jump) -> Jump | None:
    return jump if abs(jump.samples) >= max(LEAST_JUMP, CLEAR_SIGMAS * jump.sigma) else None


def best_jump(along: Track) -> Jump:
    """The jump that explains a track best, by weighted least squares over where it may lie.

    It lies between two points, or within one, which then says nothing of it and is left out.
    """
    order = np.argsort(along.share)
    share, delay = along.share[order], along.delay[order]
    edges = np.concatenate([[0.0], share, [1.0]])
    found = []
    for place in range(share.size + 1):
        for skipped in (0, 1) if place < share.size else (0,):
            variance = np.square(along.delay_sigma[order])
            variance[place : place + skipped] = LONGEST_JUMP**2
            inverse = np.linalg.inv(np.diag(variance) + along.common_delay_sigma**2)
            shape = (np.arange(share.size) >= place) - share
            precision = float(shape @ inverse @ shape)
            size = float(shape @ inverse @ delay) / precision
            left = delay - size * shape
            jump = Jump(
                samples=size,
                sigma=1.0 / math.sqrt(precision),
                low_share=float(edges[place]),
                high_share=float(edges[place + 1 + skipped]),
                misfit=float(left @ inverse @ left) + LEAVING_OUT * skipped,
            )
            found.append(jump)
    return min(found, key=lambda jump: jump.misfit)


def _jump_finding(along: Track | None, jump: Jump | None, found: Markers) -> CheckResult:
    if along is None:
        return _finding("continuity", 0.0, "good", "Whether samples were lost cannot be told from this stimulus.")
    if jump is None:
        return _finding("continuity", 0.0, "good", "No samples were lost or played twice.")
    low_s, high_s = (share * found.distance / found.reel.sample_rate for share in (jump.low_share, jump.high_share))
    count = max(round(abs(jump.samples)), 1)
    what = "recorded twice" if jump.samples > 0 else "lost"
    return _finding(
        "repeated" if jump.samples > 0 else "dropped",
        float(count),
        "refuse",
        f"About {count} sample{'s were' if count > 1 else ' was'} {what} between {low_s:.1f} and {high_s:.1f} s after "
        f"the first chirp: close other programs, take a larger buffer, and record again.",
    )


def _finding(name: str, value: float, verdict: Verdict, sentence: str) -> CheckResult:
    return CheckResult(name=name, value=value, unit="samples", threshold=LEAST_JUMP, verdict=verdict, sentence=sentence)


def _gain(along: Track | None, found: Markers) -> CheckResult:
    """The last chirp against the first, told from a loudspeaker that heats or cools."""
    gain_db, sigma_db = band_gains_db(found.after, found.before, band_edges_hz(found.reel))
    weights = 1.0 / np.square(sigma_db + 0.01)
    mean_db = float(np.average(gain_db, weights=weights))
    high_db = float(np.average(gain_db[-3:], weights=weights[-3:]))
    spread_db = math.sqrt(float(np.average(np.square(gain_db - mean_db), weights=weights)))
    noise_db, high_noise_db = (3.0 / math.sqrt(float(np.sum(of))) for of in (weights, weights[-3:]))
    uniform = spread_db < UNIFORM_SHARE * abs(mean_db) + noise_db
    rose = float(np.min((gain_db - 2.0 * sigma_db)[-3:])) > LEAST_RISE_DB
    # a multitone's first period holds how it comes in
    settled = aligned(found.reel.only_stimulus()[1]).repeats
    sudden = along is not None and turned_suddenly(along.gain_db[int(settled) :], high_db)
    calm = along is not None and along.gain_db.size == gain_db.size and _calm(along.gain_db, gain_db)
    refuse = abs(high_db) > GAIN_REFUSE_DB
    stepped = abs(high_db) > LEAST_STEP_DB + high_noise_db and ((uniform and calm) or rose or sudden)
    return CheckResult(
        name="gain",
        value=high_db,
        unit="dB",
        threshold=GAIN_REFUSE_DB if stepped and refuse else LEAST_STEP_DB,
        verdict="good" if not stepped else "refuse" if refuse else "usable",
        sentence=f"The level changed by {high_db:+.2f} dB from the first chirp to the last"
        + (
            ": a gain was turned, or turned itself, so every level is uncertain by as much. Switch automatic gain off, "
            "and record again."
            if stepped
            else "."
        ),
    )


def _calm(stimulus_db: FloatArray, after_db: FloatArray) -> bool:
    """Whether the stimulus has in its highest bands the level of the first chirp, or of the last."""
    stimulus_db, after_db = stimulus_db[-CALM_BANDS:], after_db[-CALM_BANDS:]
    allowed_db = CALM_DB + UNIFORM_SHARE * float(np.max(np.abs(after_db)))
    return min(float(np.max(np.abs(stimulus_db))), float(np.max(np.abs(stimulus_db - after_db)))) < allowed_db


def turned_suddenly(gain_db: FloatArray, change_db: float) -> bool:
    """Whether the level along the stimulus, dB `(points,)`, takes most of `change_db` at one place: a gain was turned.

    Where it creeps a loudspeaker heats, or settles.
    """
    # over two points as well: the step may lie within one
    return any(_jumps(gain_db[over:] - gain_db[:-over], change_db, over=over) for over in (1, 2))


def _jumps(apart_db: FloatArray, change_db: float, *, over: int) -> bool:
    """Whether one of the differences between points `over` from one another is a jump."""
    off = apart_db - np.median(apart_db)
    at = int(np.argmax(np.abs(off)))
    step_db, usual = float(off[at]), float(np.median(np.abs(off)))
    beside = [abs(float(off[place])) for place in (at - over, at + over) if 0 <= place < off.size]
    # what settles by a constant share from point to point does so by that share squared over two
    if max(beside, default=0.0) > SETTLING_SHARE**over * abs(step_db) + (over - 1) * 2.0 * usual:
        return False  # it creeps: a loudspeaker that settles
    return step_db * change_db > 0.0 and abs(step_db) > max(LEAST_STEP_DB, SUDDEN * usual, 0.4 * abs(change_db))
