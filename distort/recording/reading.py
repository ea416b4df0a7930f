"""What the analysis makes of the takes of one level: aligned, on one clock, averaged."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from distort.analysis.impulsive.heard import CyclesHeard, cycles_heard
from distort.analysis.multitone.between import NoiseHeard, mean_heard
from distort.analysis.multitone.curves import MultitoneResult
from distort.analysis.multitone.reading import MultitoneTake, multitone_result, read_multitone
from distort.analysis.multitone.settling import Settling, SettlingFit, onset, period_levels, settling_fit
from distort.analysis.sweep.readings import Reading
from distort.analysis.sweep.sweeps import Reference, Settings, SweepReadings, SweepTake, read_sweep
from distort.analysis.sweep.windows import most_orders
from distort.errors import AnalysisError, RecordingError
from distort.recording.alignment.locating import find_reel
from distort.recording.alignment.prepared import Prepared, placed, prepare, prepare_samples
from distort.recording.takes import Takes, reference_for, require_alike
from distort.session.audio.audio_file import read_audio
from distort.session.audio.resampling import resample
from distort.session.plan.kinds import READ_AS, SHORT_SWEEP
from distort.session.recordings.stored import Recording
from signals import Multitone, Stimulus, Sweep, as_a, kind_of

ELECTRONICS = "electronics"

TIME_BANDS_HZ = ((20.0, 200.0), (200.0, 2000.0), (2000.0, 20000.0))
"""Lines that are looked at together against time: a decade each, so that single lines do not speak for a driver."""

LEAST_WARM_UP_DB = 0.1
"""A smaller change from the first to the last period is within what a quiet take shows by chance (measured on the
simulated monitor)."""

LEAST_ATTACK_DB = 1.0
"""A room that fills up and the fade-in move the first moments by some tenths of a decibel."""


@dataclass(frozen=True, kw_only=True)
class LevelRead:
    """One stimulus at one level: which recordings; what they say is added by each kind."""

    takes: Takes

    @property
    def name(self) -> str:
        """As which the stimulus is read: all draws of a multitone as one."""
        name = self.takes[0].sidecar.stimulus_name
        return READ_AS.get(name, name)

    @property
    def level_db_spl(self) -> float:
        """Nominal."""
        return self.takes[0].sidecar.level_db_spl

    @property
    def again(self) -> bool:
        """The reference played again later."""
        return self.takes[0].sidecar.after

    @property
    def reference(self) -> Reference:
        """What turns dBFS into dB SPL at 1 m."""
        return reference_for(self.takes)


@dataclass(frozen=True, kw_only=True)
class SweepLevel(LevelRead):
    """The sweep of one level."""

    read: SweepReadings
    """The takes' coherent mean."""
    alone: tuple[SweepReadings, ...] = ()
    """The fundamental of each take by itself; none where there is one take."""
    cycles: tuple[CyclesHeard, ...] = ()
    """What each take holds beyond the orders, in step with the sweep; none where a take has no silence."""


@dataclass(frozen=True, kw_only=True)
class Electronics(LevelRead):
    """What the chain does at one level without a loudspeaker."""

    readings: tuple[Reading, ...]

    @property
    def name(self) -> str:
        """No stimulus's."""
        return ELECTRONICS


def read_sweep_level(takes: Takes, settings: Settings) -> SweepLevel:
    """The takes of one sweep, together and, where they are several, each by itself. Raises as `read_sweep_takes`."""
    ready, sweep, settings = _ready(takes, settings)
    one_order = replace(settings, orders=1, beyond=False)
    read = read_sweep(ready, sweep, settings)
    return SweepLevel(
        takes=takes,
        read=replace(read, beyond=(), silences=()),
        cycles=_cycles(read),
        alone=tuple(read_sweep([one], sweep, one_order) for one in ready) if len(ready) > 1 else (),
    )


def sweep_take_of(recording: Recording) -> tuple[SweepTake, Sweep]:
    """One recording of a sweep, ready to be deconvolved; its silences are not looked for.

    Raises as `prepare` does, AnalysisError for what is no sweep.
    """
    sweep = sweep_of(recording.sidecar.stimulus, recording.files.audio_path)
    samples, start = placed(recording)
    return SweepTake(samples=samples, start=start), sweep


def _cycles(read: SweepReadings) -> tuple[CyclesHeard, ...]:
    silences = [one for one in read.silences if one is not None]
    if not read.beyond or len(silences) < len(read.beyond):
        return ()
    return tuple(cycles_heard(beyond, noise) for beyond, noise in zip(read.beyond, silences, strict=True))


def read_sweep_takes(takes: Takes, settings: Settings) -> SweepReadings:
    """The coherent mean of the takes of one sweep. Raises as `read_sweep`, `prepare` and `require_alike` do."""
    return read_sweep(*_ready(takes, settings))


def _ready(takes: Takes, settings: Settings) -> tuple[list[SweepTake], Sweep, Settings]:
    """The takes as `read_sweep` wants them. A short sweep only shows a bias, as far as its length lets it."""
    require_alike(takes)
    first = takes[0]
    sweep = sweep_of(first.sidecar.stimulus, first.files.audio_path)
    if first.sidecar.stimulus_name == SHORT_SWEEP:
        settings = replace(settings, orders=min(settings.orders, most_orders(sweep)))
    return [_sweep_take(prepare(one)) for one in takes], sweep, settings


def read_electronics(beside: Takes, chain: Takes, settings: Settings) -> Electronics:
    """The electronics at one level, from the last recording of them that there is.

    beside   takes beside which a loopback was kept
    chain    takes of the condition without a loudspeaker; one of the two is not empty

    Raises SessionError and RecordingError for files that are there and cannot be read or trusted.
    """
    settings = replace(settings, microphone=None)  # a cable has none
    found = [_read_loopback(one, settings) for one in beside]
    if chain:
        found.append(read_sweep_takes(chain, settings).readings)
    return Electronics(takes=chain or beside, readings=found[-1])


def _read_loopback(recording: Recording, settings: Settings) -> tuple[Reading, ...]:
    sidecar, path = recording.sidecar, recording.files.loopback_path
    recording.give_stimulus()
    stored, rate = read_audio(path)
    samples = resample(stored, from_rate=rate, to_rate=sidecar.stimulus.sample_rate)
    try:
        alignment = find_reel(samples, sidecar.reel)
    except RecordingError as error:
        raise RecordingError(f"{path}: {error} Or move it away: it only states the chain's distortion.") from error
    take = _sweep_take(prepare_samples(samples, sidecar.reel, start=alignment.stimulus_start))
    return read_sweep([take], sweep_of(sidecar.stimulus, path), settings).readings


@dataclass(frozen=True, kw_only=True)
class MultitoneLevel(LevelRead):
    """The multitone of one level: what was played, and what the recordings say."""

    tone: Multitone
    result: MultitoneResult
    warm_up: tuple[Settling, ...]
    """Bands whose level settles from period to period."""
    attack: tuple[Settling, ...]
    """Bands whose level settles within the first period."""
    noise: NoiseHeard | None = None
    """While it sounds and in silence; None where a take has no silence."""


def read_multitone_takes(takes: Takes, settings: Settings, *, against_time: bool = True) -> MultitoneLevel:
    """The multitones of one level, averaged; `against_time` also looks for warm-up and attack.

    Raises as `read_multitone`, `prepare` and `require_alike` do.
    """
    require_alike(takes)
    made = [_multitone_take(one) for one in takes]
    reads = [read_multitone(take, tone, settings.microphone) for take, tone in made]
    first, tone = made[0]
    if not against_time:
        return MultitoneLevel(
            takes=takes,
            tone=tone,
            result=multitone_result(reads, reference_for(takes)),
            warm_up=(),
            attack=(),
            noise=mean_heard([one.noise for one in reads]),
        )
    bands = [band for band in TIME_BANDS_HZ if np.any((tone.line_hz >= band[0]) & (tone.line_hz < band[1]))]
    slow = (settling_fit(one) for one in period_levels(first.samples, tone, start=first.start, bands=bands))
    fast: Iterable[SettlingFit] = ()
    if tone.settling_periods:
        fast = (settling_fit(one) for one in onset(first.samples, tone, start=first.start, bands=bands))
    return MultitoneLevel(
        takes=takes,
        tone=tone,
        result=multitone_result(reads, reference_for(takes)),
        warm_up=tuple(
            one.settling for one in slow if one.significant and abs(one.settling.depth_db) > LEAST_WARM_UP_DB
        ),
        attack=tuple(one.settling for one in fast if one.significant and one.settling.depth_db < -LEAST_ATTACK_DB),
        noise=mean_heard([one.noise for one in reads]),
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


def _sweep_take(prepared: Prepared) -> SweepTake:
    return SweepTake(samples=prepared.samples, start=prepared.start, silences=prepared.silences, step=prepared.step)
