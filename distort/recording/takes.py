"""The recordings of a condition put together: which are takes of one level, and which repeat it later."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from distort.analysis.sweep.sweeps import Reference, Settings
from distort.errors import AnalysisError, SessionError, shown
from distort.recording.clocks import ConditionClock, clock_of
from distort.recording.quality.check import HIGH_PEAK_DBFS
from distort.session.calibration.in_force import CalibrationInForce, reference_of
from distort.session.calibration.reference_responses import SessionMicrophone
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import READ_AS, SWEEP, burst_limits
from distort.session.recordings.condition import Recorded
from distort.session.recordings.stored import Recording
from signals import Multitone, Stimulus, as_a

Takes = Sequence[Recording]
"""Recordings of one stimulus at one level that are averaged; at least one."""


@dataclass(frozen=True, kw_only=True)
class Levels:
    """The recordings of a condition, those together that are read together. Levels go from the lowest up."""

    takes: Mapping[str, Mapping[float, Takes]]
    """By name of the stimulus, then by nominal level: those of the first set-up. Sweeps are among them."""
    chain: Mapping[float, Takes]
    """Sweeps of the condition without a loudspeaker."""
    loopbacks: Mapping[float, Takes]
    """Sweeps beside which a loopback was kept."""
    clock: ConditionClock
    repeats: Takes
    """The lowest sweep again, in the order of recording, where the rest before it is known: else whether it shows heat
    or drift cannot be told. May be none."""

    @property
    def sweeps(self) -> Mapping[float, Takes]:
        """The sweeps by level; at least one."""
        return self.takes[SWEEP]


def levels_of(recorded: Recorded) -> Levels:
    """Put the recordings of a condition together.

    Raises SessionError when there is no sweep, AnalysisError when some recordings have a calibration and some not.
    """
    require_one_unit(recorded.kept)
    takes: dict[str, dict[float, list[Recording]]] = {}
    for name in dict.fromkeys(one.sidecar.stimulus_name for one in recorded.kept):
        together = takes.setdefault(READ_AS.get(name, name), {})
        for level, of_level in takes_of_each_level(recorded.kept, name).items():
            together.setdefault(level, []).extend(of_level)
    takes = {name: dict(sorted(of_name.items())) for name, of_name in takes.items()}
    sweeps = takes.get(SWEEP)
    if not sweeps:
        raise SessionError(
            f"{recorded.root} holds no sweep of condition {shown(recorded.condition)}, or every one was rejected: "
            f"record one with `distort measure`, or bring one in with `distort add`"
        )
    beside: dict[float, Takes] = {}
    if recorded.chain is not None:  # else the sweeps are the chain's own
        for level, of_level in sweeps.items():
            if looped := [one for one in of_level if one.files.loopback_path.exists()]:
                beside[level] = looped
    chain = takes_of_each_level(recorded.chain or (), SWEEP)
    clock = clock_of(recorded.recordings)
    again = [one for one in clock.repeats_of(sweeps[min(sweeps)][0]) if clock.rest_s(one) is not None]
    return Levels(takes=takes, chain=chain, loopbacks=beside, clock=clock, repeats=again)


def settings_of(plan: Plan, microphone: SessionMicrophone | None) -> Settings:
    """How recordings are analysed: as [analysis] of the plan says, less the response of the microphone."""
    gate_ms = plan.analysis.gate_ms
    return Settings(
        orders=plan.analysis.orders,
        smoothing_octaves=plan.analysis.smoothing_octaves,
        gate_s=None if gate_ms is None else gate_ms / 1000.0,
        microphone=None if microphone is None else microphone.response,
        burst_limits=replace(burst_limits(plan), input_peak_dbfs=HIGH_PEAK_DBFS),
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


def require_one_unit(recordings: Sequence[Recording]) -> None:
    """Raises AnalysisError when some have a calibration and some do not: SPL and dBFS would be compared."""
    known = [one for one in recordings if one.sidecar.calibration is not None]
    unknown = [one for one in recordings if one.sidecar.calibration is None]
    if known and unknown:
        raise AnalysisError(
            f"{unknown[0].files.audio_path} was saved without a calibration, {known[0].files.audio_path} with one: if "
            f"no gain changed since, say so with `distort calibrate {unknown[0].files.session.root} --apply-to-earlier`"
        )


def require_alike(takes: Sequence[Recording]) -> None:
    """Raises AnalysisError when the takes of a level differ in stimulus, calibration, distance or turned volume.

    Another draw of a multitone's phases is the same stimulus.
    """
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
    tone = as_a(Multitone, sidecar.stimulus)
    stimulus = sidecar.stimulus if tone is None else replace(tone, realisation=0)
    return stimulus, sidecar.calibration, sidecar.setup.distance_m


def reference_for(takes: Sequence[Recording]) -> Reference:
    """What turns the takes' dBFS into dB SPL at 1 m."""
    sidecar = takes[0].sidecar
    return reference_of(sidecar.calibration, sidecar.setup.distance_m)
