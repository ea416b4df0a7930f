"""How long a burst series lasts, how it rests, and what that comes to at most."""

from dataclasses import dataclass, replace

import numpy as np

from distort.analysis.burst_series.steps import (
    REFERENCES,
    ROUNDING_DB,
    BurstStep,
    most_steps,
    rest_after_s,
)
from distort.capture.bursts.so_far import BURST, SoFar
from distort.capture.measuring.exposure import share_of_day
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import burst_limits, sweep_stimulus
from distort.session.recordings.stimulus_files import Planned
from signals.burst import BurstSeries
from signals.levels import FULL_SCALE_SINE_RMS, db_to_power
from signals.reel import CHIRP_BELOW_STIMULUS_DB, clock_chirp, framed

STARTING_S = 3.0
"""What a sound card, the check of a recording and its disk take besides (measured: under 2 s)."""

HANN_POWER = 3.0 / 8.0
"""Mean square of a Hann envelope: of a burst against a sine as long as it."""


@dataclass(frozen=True, kw_only=True)
class SeriesPlan:
    """What turns a step into sound."""

    whole: BurstSeries
    """With every band of the plan, at any drive."""
    level_of_full_scale_db: float
    """Nominal level of a drive of 0 dBFS."""
    reference_energy_s: float
    """Of the quietest level's sweep: seconds of a sine of full scale with its energy."""
    frame_s: float
    """Length of what is played about the bursts: silences and chirps."""

    def item(self, step: BurstStep) -> Planned:
        """What `step` plays; it has a band at least."""
        series = replace(
            self.whole,
            bands_hz=tuple(self.whole.bands_hz[index] for index in step.bands),
            drive_dbfs=step.level_db_spl - self.level_of_full_scale_db,
        )
        return Planned(stimulus_name=BURST, level_db_spl=step.level_db_spl, stimulus=series)

    def sounding_s(self, step: BurstStep) -> float:
        """From the first burst to the end of the last; 0 without any."""
        samples = sum(self.whole.bursts[index].n_samples for index in step.bands)
        gaps = max(len(step.bands) - 1, 0) * round(self.whole.gap_s * self.whole.sample_rate)
        return (samples + gaps) / self.whole.sample_rate

    def seconds(self, step: BurstStep) -> float:
        """Of the recording, with the silences and chirps around the bursts."""
        return self.frame_s + self.sounding_s(step)

    def rest_after_s(self, step: BurstStep) -> float:
        """So long that its energy per rest is at most that of the quietest level's sweep per 8 s."""
        drive_dbfs = step.level_db_spl - self.level_of_full_scale_db
        bursts_s = HANN_POWER * sum(self.whole.periods / self.whole.bands_hz[index] for index in step.bands)
        chirps_s = 2.0 * clock_chirp(drive_dbfs, self.whole.sample_rate).seconds
        energy_s = bursts_s * float(db_to_power(drive_dbfs))
        energy_s += chirps_s * float(db_to_power(drive_dbfs - CHIRP_BELOW_STIMULUS_DB))
        return rest_after_s(energy_s, reference_energy_s=self.reference_energy_s)


def series_plan(plan: Plan, whole: BurstSeries, *, level_of_full_scale_db: float) -> SeriesPlan:
    """For `plan`, whose bursts are `whole`."""
    sweep = sweep_stimulus(plan, drive_dbfs=plan.levels.db_spl[0] - level_of_full_scale_db)
    energy = float(np.sum(np.square(sweep.samples()))) / FULL_SCALE_SINE_RMS**2
    return SeriesPlan(
        whole=whole,
        level_of_full_scale_db=level_of_full_scale_db,
        reference_energy_s=energy / sweep.sample_rate,
        frame_s=(framed(whole).n_samples - whole.n_samples) / whole.sample_rate,
    )


@dataclass(frozen=True, kw_only=True)
class AtMost:
    """What the rest of a series comes to at most; it is stopped before it takes longer."""

    recordings: int
    seconds: float
    """Rests, and one recording that must be repeated, among them."""
    ordinary_recordings: int
    ordinary_seconds: float
    """The same where no band is near a limit before it reaches its top."""
    level_db_spl: float
    """Highest nominal level."""
    drive_dbfs: float
    share_of_day: float
    """Of what is permitted a day at 1 m, as if bursts sounded throughout, one recording repeated."""


def all_steps(state: SoFar, plan: Plan) -> tuple[BurstStep, ...]:
    """More than can still be played."""
    return tuple(
        most_steps(
            state.bands,
            lowest_db_spl=state.lowest_db_spl,
            compression_db=burst_limits(plan).compression_db,
            references=state.references,
        )
    )


def at_most(series: SeriesPlan, state: SoFar, plan: Plan) -> AtMost | None:
    """Of what is still to come; None where nothing is."""
    steps = all_steps(state, plan)
    if not steps or state.next() is None:
        return None
    lengths = [series.seconds(step) + STARTING_S for step in steps]
    rests = [series.rest_after_s(step) for step in steps]
    shares = [share_of_day([(step.level_db_spl, series.sounding_s(step))]) for step in steps]
    ordinary = _ordinary(state)
    repeated = max(lengths) + max(rests)
    top = max(step.level_db_spl for step in steps)
    return AtMost(
        recordings=len(steps),
        seconds=sum(lengths) + sum(rests) + repeated,
        ordinary_recordings=len(ordinary),
        ordinary_seconds=sum(series.seconds(step) + STARTING_S + series.rest_after_s(step) for step in ordinary),
        level_db_spl=top,
        drive_dbfs=top - series.level_of_full_scale_db,
        share_of_day=sum(shares) + max(shares),
    )


def _ordinary(state: SoFar) -> list[BurstStep]:
    """The steps of a loudspeaker of which every band is clean at every level."""
    steps, now = [], state
    while (step := now.next()) is not None:
        steps.append(step)
        bands = tuple(
            band.told(step.level_db_spl, fault=False) if index in step.bands else band
            for index, band in enumerate(now.bands)
        )
        now = replace(now, bands=bands, references=min(now.references + 1, REFERENCES))
    return steps


def fits(series: SeriesPlan, step: BurstStep, *, rest_s: float, elapsed_s: float, most_s: float) -> bool:
    """Whether `step` may begin: even if it must be repeated it ends within the bound."""
    twice_s = 2.0 * (series.seconds(step) + STARTING_S) + series.rest_after_s(step)
    return elapsed_s + rest_s + twice_s <= most_s + ROUNDING_DB
