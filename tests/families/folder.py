"""A case as a session folder that `distort analyze` reads: recordings with sidecars, a plan, a calibration.

The stimulus lies where the sidecar says, to the sample, since nothing is played: what alignment would find is known.
"""

import hashlib
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import scipy.signal

import signals
from distort.recording.quality.examined import examine
from distort.session.calibration.in_force import CalibrationInForce
from distort.session.files.folder import PLAN_FILE, SessionFolder
from distort.session.plan.keys import AnalysisPlan, ConditionPlan, Levels, Loudspeaker, Plan, Setup, SweepPlan
from distort.session.plan.kinds import HIGHEST_TONE_HZ, MULTITONE, PLAYED, SHORT_SWEEP, SWEEP
from distort.session.plan.multitone import MultitonePlan
from distort.session.plan.template import text_of
from distort.session.recordings.sidecar import Quality, Sidecar
from distort.session.recordings.stored import save_recording
from signals import Reel, Stimulus
from signals.levels import FULL_SCALE_SINE_RMS
from tests.families.conversion import converted
from tests.families.devices import UNIT_DB_SPL, Device
from tests.families.drawing import LOWEST_HZ, STOP_SHARE, Case, Event
from tests.families.events import sound
from tests.families.filters import FloatArray

FULL_SCALE_DB_SPL = 120.0
"""What 0 dBFS stands for in these recordings."""

UNIT_DBFS = UNIT_DB_SPL - FULL_SCALE_DB_SPL

LATENCY = 300
"""Samples between what is played and what is heard."""

PERIOD_S = 0.5
"""Of the multitone: its lines from `LOWEST_HZ` on leave free bins between them."""

TRUTH_FILE = "truth.json"

FREE_FIELD_FILE = "calibration/free-field.csv"


@dataclass(frozen=True, kw_only=True)
class _Played:
    """One kind of stimulus as it is played at one level, and what each level's answer to it is."""

    name: str
    reels: dict[float, Reel]
    answers: dict[float, FloatArray]
    """Of the stimulus alone, at 1 for full scale."""


def make_session(case: Case, root: Path) -> Path:
    """Make the session folder `root` of `case`, with what is true of it in `truth.json`, and return it."""
    plan = plan_of(case)
    root.mkdir(parents=True)
    (root / PLAN_FILE).write_text(text_of(plan), encoding="utf-8")
    (root / TRUTH_FILE).write_text(json.dumps(case.truth.record(), indent=1), encoding="utf-8")
    if case.free_field is not None:
        _write_free_field(root / FREE_FIELD_FILE, case)
    folder = SessionFolder(root)
    random = np.random.default_rng([case.seed, 99])
    began = datetime(2024, 5, 1, 10, 0, tzinfo=UTC)
    for condition, device in case.devices.items():
        for sidecar, clean in _recordings(case, plan, condition, device):
            heard = _with_noise(clean, case, random, over_db=case.noise_over_db.get(condition, 0.0))
            began += timedelta(seconds=20.0 + clean.size / case.sample_rate)
            dated = replace(sidecar, date=began.isoformat())
            for event in _events_of(sidecar, case):
                _add(heard, _event_samples(event, case), _moment(event, sidecar))
                # Only what something happened to is looked at as `distort add` would: that takes a while.
                dated = replace(dated, quality=examine(heard, sidecar.reel, what=sidecar.name.stem).for_sidecar())
            if case.conversion_db is not None:
                heard = converted(heard, case.conversion_db)
            save_recording(folder, heard, dated)
    return root


def plan_of(case: Case) -> Plan:
    """The plan of its session: short, with takes and levels as drawn."""
    rate = case.sample_rate
    return Plan(
        loudspeaker=Loudspeaker(name=f"{case.truth.family} {case.seed}"),
        setup=Setup(radiation=case.radiation, conditions=tuple(case.devices)),  # type: ignore[arg-type]
        levels=Levels(db_spl=case.levels, takes=case.takes, band_hz=(300.0, 3000.0)),
        sweep=SweepPlan(
            start_hz=20.0,
            full_level_hz=30.0,
            stop_hz=min(STOP_SHARE * rate, 21000.0),
            seconds=case.sweep_s,
            sample_rate=rate,
            lowest_hz=LOWEST_HZ,
        ),
        multitone=MultitonePlan(period_s=PERIOD_S, seed=1 + case.seed % 1000),
        conditions=tuple(ConditionPlan(name=name, changed=said) for name, said in case.changed.items()),
        analysis=AnalysisPlan(response_files=() if case.free_field is None else (FREE_FIELD_FILE,)),
    )


def _recordings(case: Case, plan: Plan, condition: str, device: Device) -> Iterator[tuple[Sidecar, FloatArray]]:
    """Sidecar and noiseless samples of every recording, in the order in which they are made."""
    kinds = {one.name: one for one in _played(plan, device)}
    first, after = kinds[SWEEP], case.levels[0]
    chirps = _chirp_answers(first, device, case)
    for take in range(1, case.takes + 1):
        for level in case.levels:
            for name in (SWEEP, SHORT_SWEEP, MULTITONE):
                yield _one(case, plan, kinds[name], condition=condition, level=level, take=take, chirps=chirps)
    sidecar, clean = _one(case, plan, first, condition=condition, level=after, take=1, chirps=chirps)
    yield replace(sidecar, after=True, rest_s=0.0), clean


def _played(plan: Plan, device: Device) -> Iterator[_Played]:
    rate = plan.sweep.sample_rate
    amplitudes = [10.0 ** ((level - UNIT_DB_SPL) / 20.0) for level in plan.levels.db_spl]
    for kind in PLAYED:
        unit = kind.made(plan, UNIT_DBFS)
        if unit is None:
            continue
        scale = 10.0 ** (UNIT_DBFS / 20.0)
        answers = device.recorded(unit.samples() / scale, rate, amplitudes)
        reels = {level: signals.framed(_at_drive(unit, level)) for level in plan.levels.db_spl}
        yield _Played(
            name=kind.name,
            reels=reels,
            answers={level: scale * one for level, one in zip(plan.levels.db_spl, answers, strict=True)},
        )


def _at_drive(stimulus: Stimulus, level_db_spl: float) -> Stimulus:
    return replace(stimulus, drive_dbfs=level_db_spl - FULL_SCALE_DB_SPL)  # type: ignore[type-var]


def _chirp_answers(played: _Played, device: Device, case: Case) -> dict[float, FloatArray]:
    """What is heard of the clock chirp of each level."""
    found = {}
    for level, reel in played.reels.items():
        _, chirp = reel.chirps()[0]
        scale = 10.0 ** (UNIT_DBFS / 20.0)
        (answer,) = device.recorded(chirp.samples() / scale, case.sample_rate, [1.0])
        found[level] = scale * answer
    return found


def _one(
    case: Case,
    plan: Plan,
    played: _Played,
    *,
    condition: str,
    level: float,
    take: int,
    chirps: dict[float, FloatArray],
) -> tuple[Sidecar, FloatArray]:
    reel = played.reels[level]
    start, stimulus = reel.only_stimulus()
    clean = np.zeros(reel.n_samples + LATENCY + case.sample_rate // 2)
    for first in reel.chirp_starts():
        _add(clean, chirps[level], first + LATENCY)
    _add(clean, played.answers[level], start + LATENCY)
    sidecar = Sidecar(
        stimulus_name=played.name,
        level_db_spl=level,
        condition=condition,
        take=take,
        after=False,
        drive_dbfs=stimulus.drive_dbfs,
        stimulus=stimulus,
        reel=reel,
        stimulus_start_sample=float(start + LATENCY),
        sample_rate=case.sample_rate,
        channel=1,
        turned_db=0.0,
        calibration=CalibrationInForce(
            calibrator_dbfs=94.0 - FULL_SCALE_DB_SPL, calibrator_db_spl=94.0, sha256="c" * 64
        ),
        loudspeaker=plan.loudspeaker,
        setup=plan.setup,
        date="2024-05-01T10:00:00+00:00",
        rest_s=20.0,
        clock_difference_ppm=0.0,
        device="made loudspeaker",
        simulated=True,
        stimulus_sha256=hashlib.sha256(f"{played.name} {level}".encode()).hexdigest(),
        recording_sha256="0" * 64,  # set where it is saved
        quality=Quality(verdict="good"),
    )
    return sidecar, clean


def _add(samples: FloatArray, more: FloatArray, at: int) -> None:
    end = min(samples.size, at + more.size)
    samples[at:end] += more[: end - at]


def _with_noise(clean: FloatArray, case: Case, random: np.random.Generator, *, over_db: float) -> FloatArray:
    """Half of its power white, half falling by 6 dB an octave above 200 Hz, as in rooms with traffic and fans."""
    white = random.standard_normal(clean.size, dtype=np.float32)
    share = 1.0 - math.exp(-2.0 * math.pi * 200.0 / case.sample_rate)
    low = scipy.signal.lfilter([share], [1.0, share - 1.0], white)
    low_power = share / (2.0 - share)  # of one pole fed with white noise of power 1
    rms = FULL_SCALE_SINE_RMS * 10.0 ** ((case.noise_db_spl + over_db - FULL_SCALE_DB_SPL) / 20.0)
    both_power = 0.5 + 0.5 + math.sqrt(1.0 / low_power) * share  # white and low are made of the same samples
    mixed = math.sqrt(0.5) * white + math.sqrt(0.5 / low_power) * low
    return np.asarray(clean + mixed * (rms / math.sqrt(both_power)))


def _events_of(sidecar: Sidecar, case: Case) -> list[Event]:
    mine = (sidecar.stimulus_name, sidecar.level_db_spl, sidecar.take)
    return [one for one in case.events if (one.stimulus_name, one.level_db_spl, one.take) == mine and not sidecar.after]


def _moment(event: Event, sidecar: Sidecar) -> int:
    return round(sidecar.stimulus_start_sample + event.at_s * sidecar.sample_rate)


def _event_samples(event: Event, case: Case) -> FloatArray:
    peak = 10.0 ** ((event.peak_db_spl - FULL_SCALE_DB_SPL) / 20.0)
    return peak * sound(event.kind, case.sample_rate, np.random.default_rng([case.seed, 7]))


def _write_free_field(path: Path, case: Case) -> None:
    """The response of the loudspeaker without what stands around it, 24 points an octave."""
    assert case.free_field is not None
    frequency_hz = np.geomspace(LOWEST_HZ, min(HIGHEST_TONE_HZ, STOP_SHARE * case.sample_rate), 210)
    level_db = 20.0 * np.log10(np.abs(case.free_field(frequency_hz)))
    path.parent.mkdir(parents=True, exist_ok=True)
    lines = (f"{at:.3f} {level:.3f}" for at, level in zip(frequency_hz, level_db, strict=True))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
