"""One recorded sweep, or several takes of it, analysed: the response and the harmonics at one drive."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from distort.analysis.common.burst_limits import BurstLimits
from distort.analysis.common.curves import Harmonics, LevelUnit, Response
from distort.analysis.common.grid import grid_hz
from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.sweep.beyond import BeyondOrders, beyond_orders
from distort.analysis.sweep.decay import Separation, separation
from distort.analysis.sweep.deconvolution import deconvolve
from distort.analysis.sweep.events import Overheard, overheard
from distort.analysis.sweep.harmonics import harmonics
from distort.analysis.sweep.images import ConversionImage, conversion_images
from distort.analysis.sweep.in_air import noise_in_air, only_covered, orders_in_air
from distort.analysis.sweep.intervals import ShortSweep, with_intervals
from distort.analysis.sweep.noise import NoiseDensity, mean_density, silence_densities
from distort.analysis.sweep.orders import SeparatedOrders, mean_of_takes, separate
from distort.analysis.sweep.readings import Reading, readings, readings_in
from distort.analysis.sweep.residual import residual_power
from distort.analysis.sweep.response import lowest_valid_hz, response
from distort.analysis.sweep.rounding import Rounding
from distort.analysis.sweep.window_errors import FundamentalSeen, order_errors, takes_variance
from distort.errors import AnalysisError
from signals.levels import amplitude_to_db
from signals.sweep import Sweep

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class SweepTake:
    """One recording of a sweep, ready to be analysed."""

    samples: FloatArray
    """`(samples,)` at the sweep's sample rate, full scale = 1."""
    start: float
    """Where the sweep arrives, samples."""
    silences: tuple[FloatArray, ...] = ()
    """Stretches of the recording that hold noise only; without any there is no noise floor."""
    step: float = 0.0
    """Of the samples as they were stored, full scale = 1; about 0 for floating point."""


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What the user chooses about the analysis."""

    orders: int = 10
    smoothing_octaves: float = 1.0 / 12.0
    gate_s: float | None = None
    microphone: MicrophoneResponse | None = None
    """Is taken out of all readings; None: they are as the microphone heard them."""
    images: bool = False
    """Also look for images that a conversion of the sample rate left in the first take: they are the same at every
    level, so that one sweep tells for all."""
    beyond: bool = False
    """Also keep what each take holds beyond its orders."""
    burst_limits: BurstLimits = field(default_factory=BurstLimits)
    """What ends a band of tone bursts."""


@dataclass(frozen=True, kw_only=True)
class Reference:
    """What turns digital level into sound pressure level at 1 m; without a calibration, nothing does."""

    offset_db: float = 0.0
    """SPL of full scale plus the gain of the distance, dB; 0 for dBFS."""
    unit: LevelUnit = "dbfs"


@dataclass(frozen=True, kw_only=True)
class SweepReadings:
    """Powers of every order of one sweep, before they are made into curves."""

    sweep: Sweep
    context: Separation
    """The orders as they were separated, in their noise."""
    readings: tuple[Reading, ...]
    residual: FloatArray
    arrival_s: float
    noise: NoiseDensity | None
    takes_variance: tuple[FloatArray, ...]
    """What the takes add to orders 2 ... N of their mean by differing more than their noise, dB squared; of one take
    nothing is known, and there is none."""
    overheard: tuple[Overheard, ...]
    """What each take holds apart from the sweep and its orders."""
    images: tuple[ConversionImage, ...] = ()
    """What a conversion of the sample rate left, where that was looked for."""
    beyond: tuple[BeyondOrders, ...] = ()
    """What each take holds beyond its orders, where that was asked for."""
    silences: tuple[NoiseDensity | None, ...] = ()
    """The noise in those of each take, as it was recorded; None where a take has none."""

    @property
    def separated(self) -> SeparatedOrders:
        """The orders of all takes together."""
        return self.context.separated


def read_sweep(takes: Sequence[SweepTake], sweep: Sweep, settings: Settings) -> SweepReadings:
    """Deconvolve, separate and smooth the takes of one sweep, averaged coherently.

    Raises AnalysisError when there is no take, one does not hold the whole sweep, or the sweep is too short for the
    orders asked for.
    """
    if not takes:
        raise AnalysisError("there is no recording of this sweep")
    read = [_read_take(take, sweep, settings) for take in takes]
    separated = mean_of_takes([one.separated for one in read])
    silences = [silence for take in takes for silence in take.silences]
    heard = [silence_densities(take.silences, sample_rate=sweep.sample_rate) for take in takes]
    rounding, noise = None, None
    if silences:
        rounding = Rounding(
            step=max(take.step for take in takes), noise_rms=min(float(np.std(silence)) for silence in silences)
        )
        noise = mean_density([each for of_take in heard for each in of_take])
        noise = replace(noise, density=np.maximum(noise.density, rounding.density(sweep.sample_rate)))
    if settings.microphone is not None:
        separated = orders_in_air(separated, settings.microphone)
        noise = None if noise is None else noise_in_air(noise, settings.microphone)
    context = separation(separated, noise=noise, excitation_hz=grid_hz(), octaves=settings.smoothing_octaves)
    found = readings_in(context)
    if rounding is not None:
        found = _with_rounding(found, rounding, drive_dbfs=sweep.drive_dbfs)
    if settings.microphone is not None:
        found = only_covered(found, grid_hz(), settings.microphone)
    return SweepReadings(
        sweep=sweep,
        context=context,
        readings=found,
        residual=np.mean([one.residual for one in read], axis=0) / found[0].power,
        arrival_s=takes[0].start / sweep.sample_rate,
        noise=noise,
        takes_variance=takes_variance([_alone(one.separated, noise, settings) for one in read])
        if len(read) > 1
        else (),
        overheard=tuple(one.overheard for one in read),
        images=read[0].images,
        beyond=tuple(one.beyond for one in read if one.beyond is not None),
        silences=tuple(mean_density(of_take) if of_take else None for of_take in heard),
    )


def _alone(separated: SeparatedOrders, noise: NoiseDensity | None, settings: Settings) -> tuple[Reading, ...]:
    """The readings of one take among several, in the noise of all."""
    if settings.microphone is not None:
        separated = orders_in_air(separated, settings.microphone)
    return readings(separated, noise=noise, excitation_hz=grid_hz(), octaves=settings.smoothing_octaves)


def _with_rounding(found: tuple[Reading, ...], rounding: Rounding, *, drive_dbfs: float) -> tuple[Reading, ...]:
    """The readings, with what rounding may have made of each order in its noise."""
    return tuple(
        replace(one, noise=one.noise + rounding.power(found[0].power, order=order, drive_dbfs=drive_dbfs))
        for order, one in enumerate(found, start=1)
    )


def smoothed_over(read: SweepReadings, octaves: float, settings: Settings) -> tuple[Reading, ...]:
    """The same sweep smoothed over another width; `settings` are those it was read with."""
    found = readings(read.separated, noise=read.noise, excitation_hz=grid_hz(), octaves=octaves)
    return found if settings.microphone is None else only_covered(found, grid_hz(), settings.microphone)


@dataclass(frozen=True, kw_only=True, eq=False)
class _TakeRead:
    """What one take says; its impulse response, the largest array, is let go before the next is read."""

    separated: SeparatedOrders
    residual: FloatArray
    overheard: Overheard
    images: tuple[ConversionImage, ...]
    beyond: BeyondOrders | None


def _read_take(take: SweepTake, sweep: Sweep, settings: Settings) -> _TakeRead:
    deconvolved = deconvolve(take.samples, sweep, start=take.start, orders=settings.orders)
    residual = residual_power(  # the one that takes most memory, while nothing else is held
        deconvolved,
        frequency_hz=grid_hz(),
        octaves=settings.smoothing_octaves,
        orders=settings.orders,
        microphone=settings.microphone,
    )
    return _TakeRead(
        separated=separate(deconvolved, orders=settings.orders, gate_s=settings.gate_s),
        residual=residual,
        overheard=overheard(deconvolved, take.samples, start=take.start),
        images=conversion_images(deconvolved) if settings.images else (),
        beyond=beyond_orders(deconvolved) if settings.beyond else None,
    )


def sweep_response(read: SweepReadings, reference: Reference) -> Response:
    """The response of one drive."""
    return response(
        read.separated,
        read.readings[0],
        frequency_hz=grid_hz(),
        level_offset_db=read.sweep.drive_dbfs + reference.offset_db,
        unit=reference.unit,
        arrival_s=read.arrival_s,
    )


def sweep_harmonics(
    read: SweepReadings,
    reference: Reference,
    *,
    linear: Response | None = None,
    driven_db: float = 0.0,
    short: SweepReadings | None = None,
) -> Harmonics:
    """The harmonics of one drive.

    linear      response at the lowest level, of a sweep with the same fades and protection, for the equivalent input
    driven_db   by how much the drive is above that of `linear`, the volume that was turned counted in
    short       the sweep of half the length at the same drive, for the bias
    """
    if linear is not None:  # the path alone is taken out, not a drive that falls below lowest_hz
        played_db = amplitude_to_db(read.sweep.envelope(linear.frequency_hz))
        linear = replace(linear, level_db=linear.level_db - played_db)
    found = harmonics(
        read.readings,
        frequency_hz=grid_hz(),
        residual=read.residual,
        level_offset_db=read.sweep.drive_dbfs + reference.offset_db,
        unit=reference.unit,
        lowest_valid_hz=lowest_valid_hz(read.separated),
        linear=linear,
        driven_db=driven_db + amplitude_to_db(read.sweep.envelope(grid_hz())),
        short=None if short is None else short.readings,
    )
    seen = FundamentalSeen(read.context)
    errors = order_errors(read.context, read.readings, seen=seen, takes_variance=read.takes_variance)
    return with_intervals(found, errors, None if short is None else _short_sweep(short, found, read, seen))


def _short_sweep(short: SweepReadings, found: Harmonics, read: SweepReadings, seen: FundamentalSeen) -> ShortSweep:
    """What the short sweep says of the orders of `found`, which are those of the long one, `read`."""
    errors = order_errors(short.context, short.readings, seen=seen, takes_variance=short.takes_variance)
    return ShortSweep(
        difference_db=[order.bias_db for order in found.orders],
        errors=errors,
        part=short.sweep.rate_s / (read.sweep.rate_s - short.sweep.rate_s),
    )
