"""What a sweep's recording says only beside others: level, repeatability, and noise that came while it played."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.curves import Response
from distort.analysis.common.sound_in_air import speed_of_sound_m_s
from distort.analysis.sweep.response import band_mean_db
from distort.analysis.sweep.sweeps import Settings, sweep_response
from distort.recording.alignment.prepared import Prepared, prepare
from distort.recording.clocks import clock_of
from distort.recording.quality.check_result import CheckResult
from distort.recording.reading import read_sweep_takes, sweep_of
from distort.recording.takes import reference_for
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import SWEEPS
from distort.session.recordings.stored import Recording
from signals import Sweep
from signals.levels import power_to_db

FloatArray = npt.NDArray[np.float64]

LEVEL_DB = 3.0
"""Between the nominal and the measured level. Compression of a loudspeaker at its limit reaches that; what is more is
either a loudspeaker far beyond it, or a volume that was turned."""

REPEATS_DB = 0.3
"""r.m.s. over frequency, of a response against that of an earlier take. A microphone left where it is repeats within
0.1 dB; moved by a centimetre it differs by some tenths above 3 kHz (common practice, no source)."""

SEATING_S = 3e-4
"""Ten centimetres of air: where in a loudspeaker its sound begins, and how well a distance is taped."""

BLOCK_S = 0.1

CAME_DB = 10.0
"""By which a block must differ from the other take more than both noises explain: 4,800 values scatter by 0.1 dB."""

ALIKE_DB = -50.0
"""Re the block's signal. Two takes differ by that much through heat and air, without any noise."""


def against_others(recordings: Sequence[Recording], plan: Plan) -> dict[str, tuple[CheckResult, ...]]:
    """Findings of each sweep among the recordings of one condition that is not rejected, by the name of its file.

    `level_spl` where it was calibrated; `delay` where there was a loopback; `repeatability` and `noise_during` where
    there is an earlier recording of the same sweep. Raises as `prepare` and `read_sweep_takes` do.
    """
    sweeps = [one for one in recordings if one.sidecar.rejected is None and one.sidecar.stimulus_name in SWEEPS]
    found: dict[str, tuple[CheckResult, ...]] = {}
    first_of: dict[Sweep, tuple[Recording, Response]] = {}
    for one in sorted(sweeps, key=clock_of(recordings).began_s):
        sidecar = one.sidecar
        sweep = sweep_of(sidecar.stimulus, one.files.audio_path)
        response = _response(one)
        of_condition = plan.of(sidecar.condition)
        findings = _level(response, one, of_condition) + _delay(one, of_condition)
        earlier = first_of.setdefault(sweep, (one, response))
        if earlier[0] is not one:
            findings += (_repeatability(response, earlier[1], earlier[0]), _noise_during(one, earlier[0]))
        found[sidecar.name.stem] = findings
    return found


def _response(recording: Recording) -> Response:
    read = read_sweep_takes([recording], replace(Settings(), orders=1))
    return sweep_response(read, reference_for([recording]))


def _level(response: Response, recording: Recording, plan: Plan) -> tuple[CheckResult, ...]:
    measured_db = band_mean_db(response, plan.levels.band_hz)
    sidecar = recording.sidecar
    if response.unit != "db_spl" or math.isnan(measured_db) or plan.near_field_of is not None:
        return ()
    difference_db = measured_db - sidecar.as_played_db_spl
    good = abs(difference_db) <= LEVEL_DB
    sentence = f"The level is {measured_db:.1f} dB SPL at 1 m, {difference_db:+.1f} dB re the nominal one"
    if not good:
        sentence += (
            ": look whether the volume was turned, or the loudspeaker holds back"
            if difference_db < 0
            else ": look whether the volume was turned, or the calibration holds"
        )
    return (_finding("level_spl", difference_db, LEVEL_DB, good=good, sentence=f"{sentence}."),)


def _delay(recording: Recording, plan: Plan) -> tuple[CheckResult, ...]:
    """What the loopback says of the distance: sound cannot come sooner than through the air alone."""
    delay_s = recording.sidecar.sound_delay_s
    if delay_s is None:
        return ()
    air_s = plan.setup.distance_m / speed_of_sound_m_s(plan.setup.temperature_c)
    good = delay_s >= air_s - SEATING_S
    sentence = (
        f"By the loopback the sound took {1e3 * delay_s:.2f} ms, of which the air of {plan.setup.distance_m:g} m takes "
        f"{1e3 * air_s:.2f} ms"
    )
    sentence += "." if good else ": the microphone is nearer than the plan says."
    return (
        CheckResult(
            name="delay",
            value=1e3 * delay_s,
            unit="ms",
            threshold=1e3 * (air_s - SEATING_S),
            verdict="good" if good else "usable",
            sentence=sentence,
        ),
    )


def _finding(name: str, value: float, threshold: float, *, good: bool, sentence: str) -> CheckResult:
    return CheckResult(
        name=name,
        value=value,
        unit="dB",
        threshold=threshold,
        verdict="good" if good else "usable",
        sentence=sentence,
    )


def _repeatability(response: Response, earlier: Response, first: Recording) -> CheckResult:
    clear = (response.level_db > response.noise_db + 20.0) & (earlier.level_db > earlier.noise_db + 20.0)
    valid = response.frequency_hz >= response.lowest_valid_hz
    difference_db = response.level_db - earlier.level_db
    name = first.sidecar.name.stem
    if not np.any(clear & valid):
        known = bool(np.isfinite(response.noise_db + earlier.noise_db).any())
        return _repeats_unknown(difference_db[valid], known=known, name=name)
    rms_db = _rms(difference_db[clear & valid])
    good = rms_db <= REPEATS_DB
    return _finding(
        "repeatability",
        rms_db,
        REPEATS_DB,
        good=good,
        sentence=f"Its response differs from that of {name} by {rms_db:.2f} dB r.m.s."
        + ("" if good else " Look whether something was moved or turned, or the loudspeaker was still hot."),
    )


def _repeats_unknown(difference_db: FloatArray, *, known: bool, name: str) -> CheckResult:
    why = "no frequency stands 20 dB over the noise of both" if known else "the noise floor of one is not known"
    return _finding(
        "repeatability",
        math.nan,
        REPEATS_DB,
        good=False,
        sentence=f"Whether its response repeats that of {name} is not known, since {why}: they differ by "
        f"{_rms(difference_db):.2f} dB r.m.s., noise included.",
    )


def _rms(values_db: FloatArray) -> float:
    """Of those that are known; NaN where none is."""
    known = values_db[np.isfinite(values_db)]
    return float(np.sqrt(np.mean(np.square(known)))) if known.size else math.nan


def _noise_during(recording: Recording, earlier: Recording) -> CheckResult:
    one, other = prepare(recording), prepare(earlier)
    if not (one.silences and other.silences):
        return _finding(
            "noise_during",
            math.nan,
            CAME_DB,
            good=False,
            sentence=f"Whether something sounded during this one or {earlier.sidecar.name.stem} is not known: there is "
            f"no silence in one of them to tell what noise explains.",
        )
    rate = recording.sidecar.stimulus.sample_rate
    excess_db, at_s = worst_block(one, other, n_samples=recording.sidecar.stimulus.n_samples, rate=rate)
    good = excess_db <= CAME_DB
    name = earlier.sidecar.name.stem
    sentence = f"Nothing came while it played that {name} does not have."
    if not good:
        sentence = (
            f"{at_s:.1f} s into the sweep it differs from {name} by {excess_db:.0f} dB more than the noise in the "
            f"silence explains: something sounded during one of them. Listen to both, and reject the spoilt one."
        )
    return _finding("noise_during", excess_db, CAME_DB, good=good, sentence=sentence)


def worst_block(one: Prepared, other: Prepared, *, n_samples: int, rate: int) -> tuple[float, float]:
    """By how many dB the two differ at most beyond what explains it, and when, seconds into the stimulus.

    What explains it: the noise in the silences of both, and `ALIKE_DB` of the signal. In each tenth of a second `one`
    is fitted by `other` and its slope, so that a gain or delay that creeps is no noise.
    """
    first, second = _cut(one, n_samples), _cut(other, n_samples)
    size = round(BLOCK_S * rate)
    noise = sum(float(np.mean([np.var(span) for span in each.silences])) for each in (one, other))
    slope = np.gradient(second)
    worst, at_s = -math.inf, 0.0
    for start in range(0, n_samples - size + 1, size):
        block = slice(start, start + size)
        shape = np.stack([second[block], slope[block]], axis=1)
        fit, *_ = np.linalg.lstsq(shape, first[block], rcond=None)
        left = float(np.mean(np.square(first[block] - shape @ fit)))
        explained = noise + 10.0 ** (ALIKE_DB / 10.0) * float(np.mean(np.square(first[block])))
        excess_db = float(power_to_db(left) - power_to_db(max(explained, 1e-30)))
        if excess_db > worst:
            worst, at_s = excess_db, start / rate
    return worst, at_s


def _cut(prepared: Prepared, n_samples: int) -> FloatArray:
    """The stimulus's own samples, read where it begins, fractions included."""
    first = math.floor(prepared.start)
    piece = prepared.samples[first : first + n_samples]
    piece = np.pad(piece, (0, n_samples - piece.size))
    n_fft = int(scipy.fft.next_fast_len(n_samples + 64, real=True))
    turned = scipy.fft.rfft(piece, n_fft) * np.exp(2j * np.pi * scipy.fft.rfftfreq(n_fft) * (prepared.start - first))
    return np.asarray(scipy.fft.irfft(turned, n_fft)[:n_samples])
