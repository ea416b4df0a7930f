"""The recordings of a condition put together: which belong to one level, and what the analysis makes of them."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.multitone.curves import MultitoneResult
from distort.analysis.multitone.reading import MultitoneTake, multitone_result, read_multitone
from distort.analysis.multitone.settling import Settling, SettlingFit, onset, period_levels, settling_fit
from distort.analysis.sweep.sweeps import Reference, Settings, SweepReadings, SweepTake, read_sweep
from distort.analysis.sweep.windows import most_orders
from distort.errors import AnalysisError
from distort.recording.alignment.prepared import prepare
from distort.recording.clocks import clock_of
from distort.session.calibration.in_force import CalibrationInForce, reference_of
from distort.session.calibration.reference_responses import SessionMicrophone
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import SHORT_SWEEP
from distort.session.recordings.stored import Recording
from signals import Multitone, Stimulus, Sweep, as_a, kind_of

TIME_BANDS_HZ = ((20.0, 200.0), (200.0, 2000.0), (2000.0, 20000.0))
"""Lines that are looked at together against time: a decade each, so that single lines do not speak for a driver."""

LEAST_WARM_UP_DB = 0.1
"""A smaller change from the first to the last period is within what a quiet take shows by chance (measured on the
simulated monitor)."""

LEAST_ATTACK_DB = 1.0
"""A room that fills up and the fade-in move the first moments by some tenths of a decibel."""


def settings_of(plan: Plan, microphone: SessionMicrophone | None) -> Settings:
    """How recordings are analysed: as [analysis] of the plan says, less the response of the microphone."""
    gate_ms = plan.analysis.gate_ms
    return Settings(
        orders=plan.analysis.orders,
        smoothing_octaves=plan.analysis.smoothing_octaves,
        gate_s=None if gate_ms is None else gate_ms / 1000.0,
        microphone=None if microphone is None else microphone.response,
    )


def takes_of_each_level(recordings: Iterable[Recording], stimulus_name: str) -> dict[float, list[Recording]]:
    """Takes of the first set-up that were not rejected, by level from the lowest up; no repeats of the reference.

    Takes after something was set up anew are left to `distort compare`: added to these, they would blur what a
    centimetre more or less of the microphone changes.
    """
    return {level: parts[0] for level, parts in set_ups_of_each_level(recordings, stimulus_name).items()}


def set_ups_of_each_level(recordings: Iterable[Recording], stimulus_name: str) -> dict[float, list[list[Recording]]]:
    """Takes that were not rejected, by level from the lowest up, those of one set-up together, the first set-up first.

    A take that says that something was set up anew begins the next set-up. Repeats of the reference are not among them.
    """
    found: dict[float, list[list[Recording]]] = {}
    for one in recordings:
        sidecar = one.sidecar
        if sidecar.stimulus_name == stimulus_name and not sidecar.after and sidecar.rejected is None:
            parts = found.setdefault(sidecar.level_db_spl, [])
            if sidecar.repositioned or not parts:
                parts.append([])
            parts[-1].append(one)
    return dict(sorted(found.items()))


def repeats_of(recordings: Sequence[Recording], stimulus_name: str, level_db_spl: float) -> list[Recording]:
    """The level again, after the ladder, in the order of recording; rejected ones are not among them.

    recordings   all of a condition, since they tell which clock holds
    """
    found = [
        one
        for one in recordings
        if one.sidecar.after
        and one.sidecar.rejected is None
        and (one.sidecar.stimulus_name, one.sidecar.level_db_spl) == (stimulus_name, level_db_spl)
    ]
    return sorted(found, key=clock_of(recordings).began_s)


def require_one_unit(recordings: Sequence[Recording]) -> None:
    """Raises AnalysisError when some have a calibration and some do not: SPL and dBFS would be compared."""
    known = [one for one in recordings if one.sidecar.calibration is not None]
    unknown = [one for one in recordings if one.sidecar.calibration is None]
    if known and unknown:
        raise AnalysisError(
            f"{unknown[0].files.audio_path} was saved without a calibration, {known[0].files.audio_path} with one: "
            f"move the first and its .json out of the session, and bring it in again with `distort add`"
        )


def require_alike(takes: Sequence[Recording]) -> None:
    """Raises AnalysisError when the takes of a level differ in stimulus, calibration, distance or turned volume."""
    first = takes[0]
    turned = {one.sidecar.turned_db for one in takes} - {None}
    for one in takes[1:]:
        if _made_with(one) != _made_with(first) or len(turned) > 1:
            raise AnalysisError(
                f"{first.files.audio_path} and {one.files.audio_path} were made with different stimuli, calibrations, "
                f"distances or turns of the volume, so they are not takes of the same: reject one of them"
            )


def _made_with(recording: Recording) -> tuple[Stimulus, CalibrationInForce | None, float]:
    sidecar = recording.sidecar
    return sidecar.stimulus, sidecar.calibration, sidecar.setup.distance_m


def reference_for(takes: Sequence[Recording]) -> Reference:
    """What turns the takes' dBFS into dB SPL at 1 m."""
    sidecar = takes[0].sidecar
    return reference_of(sidecar.calibration, sidecar.setup.distance_m)


def read_sweep_takes(takes: Sequence[Recording], settings: Settings) -> SweepReadings:
    """The coherent mean of the takes of one sweep. Raises as `read_sweep`, `prepare` and `require_alike` do."""
    require_alike(takes)
    sweep = sweep_of(takes[0].sidecar.stimulus, takes[0].files.audio_path)
    if takes[0].sidecar.stimulus_name == SHORT_SWEEP:  # it only shows a bias, as far as its length lets it
        settings = replace(settings, orders=min(settings.orders, most_orders(sweep)))
    return read_sweep([_sweep_take(one) for one in takes], sweep, settings)


@dataclass(frozen=True, kw_only=True)
class MultitoneLevel:
    """The multitone of one level: what was played, and what the recordings say."""

    tone: Multitone
    result: MultitoneResult
    warm_up: tuple[Settling, ...]
    """Bands whose level settles from period to period."""
    attack: tuple[Settling, ...]
    """Bands whose level settles within the first period."""


def read_multitone_takes(
    takes: Sequence[Recording], microphone: MicrophoneResponse | None = None, *, against_time: bool = True
) -> MultitoneLevel:
    """The multitones of one level, averaged, without `microphone`; `against_time` also looks for warm-up and attack.

    Raises as `read_multitone`, `prepare` and `require_alike` do.
    """
    require_alike(takes)
    made = [_multitone_take(one) for one in takes]
    reads = [read_multitone(take, tone, microphone) for take, tone in made]
    first, tone = made[0]
    if not against_time:
        return MultitoneLevel(tone=tone, result=multitone_result(reads, reference_for(takes)), warm_up=(), attack=())
    bands = [band for band in TIME_BANDS_HZ if np.any((tone.line_hz >= band[0]) & (tone.line_hz < band[1]))]
    slow = (settling_fit(one) for one in period_levels(first.samples, tone, start=first.start, bands=bands))
    fast: Iterable[SettlingFit] = ()
    if tone.settling_periods:
        fast = (settling_fit(one) for one in onset(first.samples, tone, start=first.start, bands=bands))
    return MultitoneLevel(
        tone=tone,
        result=multitone_result(reads, reference_for(takes)),
        warm_up=tuple(
            one.settling for one in slow if one.significant and abs(one.settling.depth_db) > LEAST_WARM_UP_DB
        ),
        attack=tuple(one.settling for one in fast if one.significant and one.settling.depth_db < -LEAST_ATTACK_DB),
    )


def _multitone_take(recording: Recording) -> tuple[MultitoneTake, Multitone]:
    """As recorded, on the recorder's clock: the analysis finds the difference anew, from the lines."""
    sidecar = recording.sidecar
    tone = as_a(Multitone, sidecar.stimulus)
    if tone is None:
        raise AnalysisError(f"{recording.files.audio_path} is a {kind_of(sidecar.stimulus)}, not a multitone")
    prepared = prepare(recording, repair=False)
    clock_ppm = math.nan if sidecar.clock_difference_ppm is None else sidecar.clock_difference_ppm
    take = MultitoneTake(
        samples=prepared.samples,
        start=prepared.start,
        clock_difference_ppm=clock_ppm,
        silences=prepared.silences,
    )
    return take, tone


def sweep_of(stimulus: Stimulus, path: Path) -> Sweep:
    """`stimulus`, which `path` holds or describes. Raises AnalysisError when it is no sweep."""
    sweep = as_a(Sweep, stimulus)
    if sweep is None:
        raise AnalysisError(f"{path} is a {kind_of(stimulus)}, where an exponential sweep was expected")
    return sweep


def _sweep_take(recording: Recording) -> SweepTake:
    prepared = prepare(recording)
    return SweepTake(samples=prepared.samples, start=prepared.start, silences=prepared.silences, step=prepared.step)
