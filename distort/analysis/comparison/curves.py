"""Curves that two sides can be compared by: from readings of sweeps and results of multitones, with their scatter.

Where the microphone or the loudspeaker was set up anew, the set-ups are the replicates, else the takes are.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from distort.analysis.common.caution import near_noise
from distort.analysis.common.grid import grid_hz
from distort.analysis.common.quantities import (
    CHANGE,
    CHANGE_OF_MULTITONE,
    EVEN,
    GAIN,
    GAIN_OF_MULTITONE,
    ODD,
    RESPONSE,
    RESPONSE_OF_MULTITONE,
    THD,
    Quantity,
    harmonic,
)
from distort.analysis.common.smoothing import band_width_hz
from distort.analysis.common.statistics import DB_PER_NEPER_OF_POWER, TWO_SIDED_95
from distort.analysis.common.sums import known_sum
from distort.analysis.comparison.significance import BROAD_OCTAVES, NARROW_OCTAVES, Curve, pooled_freedom
from distort.analysis.multitone.curves import MultitoneResult
from distort.analysis.sweep.harmonics import doubtful_rows
from distort.analysis.sweep.readings import Reading, silence_averages
from distort.analysis.sweep.response import lowest_valid_hz
from distort.analysis.sweep.sweeps import Reference, Settings, SweepReadings, smoothed_over
from signals.levels import power_to_db

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

ROWS_OF_BAND = {BROAD_OCTAVES: 8, NARROW_OCTAVES: 1}
"""Every how many rows of the grid a band is read: third octaves side by side, twelfths at every row."""

CHANGE_OF = {GAIN: CHANGE, GAIN_OF_MULTITONE: CHANGE_OF_MULTITONE}
"""The compression that is made of a gain."""


@dataclass(frozen=True, kw_only=True)
class Valued:
    """One quantity of one reading, `(rows,)` each."""

    value_db: FloatArray
    variance: FloatArray
    """From noise, dB squared."""
    freedom: FloatArray
    """Degrees of freedom behind `variance`."""
    clear: BoolArray


Valuation = Mapping[tuple[Quantity, float], Valued]
"""All quantities of one reading, each in bands of some width in octaves."""


def sweep_values(read: SweepReadings, reference: Reference, settings: Settings) -> Valuation:
    """Response, orders and THD of one analysed sweep, in third octaves and in twelfths."""
    found: dict[tuple[Quantity, float], Valued] = {}
    offset_db = read.sweep.drive_dbfs + reference.offset_db
    lowest_hz = lowest_valid_hz(read.separated)
    for octaves, step in ROWS_OF_BAND.items():
        rows = slice(None, None, step)
        valid = grid_hz()[rows] >= lowest_hz
        parts = [
            _rows(_with_noise_around(one, order * grid_hz(), spectrum.window.before_s + spectrum.window.after_s), rows)
            for order, (one, spectrum) in enumerate(
                zip(smoothed_over(read, octaves, settings), read.separated.spectra, strict=True), start=1
            )
        ]
        silence_s = 0.0 if read.noise is None else read.noise.seconds
        # the noise of order n lies at n f, in a band n times as wide: that of the fundamental is known least
        freedom = 2.0 * silence_averages(silence_s, band_width_hz(grid_hz()[rows], octaves))
        found[RESPONSE, octaves] = _response(parts[0], offset_db, valid, freedom)
        for order in range(2, len(parts) + 1):
            own = 2.0 * silence_averages(silence_s, band_width_hz(order * grid_hz()[rows], octaves))
            found[harmonic(order), octaves] = _order(parts, order, valid, own)
        if len(parts) > 1:
            found[THD, octaves] = _thd(parts, valid, freedom)
    return found


def multitone_values(result: MultitoneResult, period_s: float) -> Valuation:
    """Even and odd distortion of one multitone of period `period_s`, per third octave."""
    bands = result.bands
    found = {}
    for quantity in (EVEN, ODD):
        value_db, floor_db, uncertainty_db = (
            getattr(bands, f"{quantity.name}_{part}") for part in ("db", "floor_db", "noise_uncertainty_db")
        )
        found[quantity, BROAD_OCTAVES] = Valued(
            value_db=value_db,
            variance=_variance(uncertainty_db),
            freedom=_freedom_of_bins(bands.frequency_hz, period_s),
            clear=np.isfinite(value_db) & ~near_noise(value_db, floor_db),
        )
    return found


def line_values(result: MultitoneResult, period_s: float) -> Valuation:
    """The response at the lines of one multitone of period `period_s`."""
    response = result.response
    near = near_noise(response.level_db, response.noise_db)
    valued = Valued(
        value_db=response.response_db,
        variance=_variance(response.uncertainty_db),
        freedom=_freedom_of_bins(response.frequency_hz, period_s),
        clear=np.isfinite(response.level_db) & ~near,
    )
    return {(RESPONSE_OF_MULTITONE, BROAD_OCTAVES): valued}


def curves_of_level(
    level_db_spl: float,
    frequency_hz: Mapping[float, FloatArray],
    set_ups: Sequence[Valuation],
    takes: Sequence[Valuation] = (),
) -> tuple[Curve, ...]:
    """Curves of one level from its set-ups, each the mean of its takes; `takes` are those of the only set-up.

    frequency_hz   of the rows, by width of the band
    """
    replicates = set_ups if len(set_ups) > 1 else takes if len(takes) > 1 else ()
    curves = []
    for quantity, octaves in set_ups[0]:
        values = [one[quantity, octaves] for one in set_ups]
        curves.append(
            Curve(
                quantity=quantity,
                level_db_spl=level_db_spl,
                octaves=octaves,
                frequency_hz=frequency_hz[octaves],
                value_db=np.mean([one.value_db for one in values], axis=0),
                noise_variance=np.mean([one.variance for one in values], axis=0) / len(values),
                noise_freedom=np.sum([one.freedom for one in values], axis=0),
                replicates_db=np.array([one[quantity, octaves].value_db for one in replicates]) if replicates else None,
                clear=np.all([one.clear for one in values], axis=0),
            )
        )
    return tuple(curves)


def gains(curves: Sequence[Curve], drives_dbfs: Mapping[float, float]) -> tuple[Curve, ...]:
    """The responses among `curves` less the drive, as gains of sweep and multitone: compression is made of them.

    drives_dbfs   as played, by nominal level
    """
    names = {RESPONSE: GAIN, RESPONSE_OF_MULTITONE: GAIN_OF_MULTITONE}
    return tuple(
        replace(one, quantity=names[one.quantity], value_db=one.value_db - drives_dbfs[one.level_db_spl])
        for one in curves
        if one.quantity in names
    )


def lowest_in_common(a: Sequence[Curve], b: Sequence[Curve]) -> dict[Quantity, float]:
    """The lowest level at which both sides have a gain, by the gain, where they have it at two levels or more."""
    found = {}
    for gain in CHANGE_OF:
        of_a, of_b = ({one.level_db_spl for one in curves if one.quantity == gain} for curves in (a, b))
        if len(of_a & of_b) > 1:
            found[gain] = min(of_a & of_b)
    return found


def changes(curves: Sequence[Curve], references: Mapping[Quantity, float]) -> tuple[Curve, ...]:
    """Compression from the gains among `curves`: the change of each level above the reference against it.

    references   level of the reference by gain, as of `lowest_in_common`
    """
    found = []
    for gain, level in references.items():
        for octaves in (BROAD_OCTAVES, NARROW_OCTAVES):
            ladder = {one.level_db_spl: one for one in curves if (one.quantity, one.octaves) == (gain, octaves)}
            found += [
                combined([(1.0, one), (-1.0, ladder[level])], CHANGE_OF[gain], one.level_db_spl)
                for one in ladder.values()
                if one.level_db_spl > level
            ]
    return tuple(found)


def at_output(ladder: Sequence[tuple[float, Curve]], output_db: float, level_db_spl: float) -> Curve | None:
    """The curve that a ladder of `(output in dB, curve)` has at `output_db`: between two rungs, never beyond them.

    Straight in dB between the rungs. None where `output_db` lies outside.
    """
    rungs = sorted(ladder, key=lambda rung: rung[0])
    for rung_db, curve in rungs:
        if rung_db == output_db:
            return replace(curve, level_db_spl=level_db_spl)
    for (below_db, below), (above_db, above) in pairwise(rungs):
        if below_db < output_db < above_db:
            share = (output_db - below_db) / (above_db - below_db)
            return combined([(1.0 - share, below), (share, above)], below.quantity, level_db_spl)
    return None


def combined(parts: Sequence[tuple[float, Curve]], quantity: Quantity, level_db_spl: float) -> Curve:
    """Weighted sum of curves of the same rows; their noises are independent, a replicate of one goes with its like."""
    parts = [(weight, curve) for weight, curve in parts if weight != 0.0]
    first = parts[0][1]
    replicates = [weight * curve.replicates_db for weight, curve in parts if curve.replicates_db is not None]
    like = len(replicates) == len(parts) and len({curve.count for _, curve in parts}) == 1
    variances = [weight**2 * curve.noise_variance for weight, curve in parts]
    total = np.sum(variances, axis=0)
    freedoms = [curve.noise_freedom for _, curve in parts]
    return Curve(
        quantity=quantity,
        level_db_spl=level_db_spl,
        octaves=first.octaves,
        frequency_hz=first.frequency_hz,
        value_db=np.sum([weight * curve.value_db for weight, curve in parts], axis=0),
        noise_variance=total,
        noise_freedom=pooled_freedom(total, list(zip(variances, freedoms, strict=True))),
        replicates_db=np.sum(replicates, axis=0) if like else None,
        clear=np.all([curve.clear for _, curve in parts], axis=0),
    )


def _with_noise_around(reading: Reading, at_hz: FloatArray, window_s: float) -> Reading:
    """The reading with the strongest noise within the resolution of its window, 1 / `window_s`, about each row.

    A window that short smears a steady hum over so many hertz, while the noise is known hertz by hertz: beside a line
    of hum the interval would be too narrow. The variance grows with the noise, and that part of it which is noise
    times noise (at most twice the squared ratio of both powers, see `uncertainty`) with its square.
    """
    known = np.nan_to_num(reading.noise)
    first = np.searchsorted(at_hz, at_hz - 1.0 / window_s)
    end = np.searchsorted(at_hz, at_hz + 1.0 / window_s, side="right")
    around = np.array([known[low:high].max() for low, high in zip(first, end, strict=True)])
    more = np.where(known > 0, around / np.where(known > 0, known, 1.0), 1.0)
    of_noise = np.fmin(
        reading.variance, 2.0 * np.square(reading.noise / np.where(reading.power > 0, reading.power, 1.0))
    )
    return Reading(
        power=reading.power,
        noise=reading.noise * more,
        leak=reading.leak,
        variance=more * reading.variance + (np.square(more) - more) * of_noise,
    )


def _rows(reading: Reading, rows: slice) -> Reading:
    return Reading(
        power=reading.power[rows], noise=reading.noise[rows], leak=reading.leak[rows], variance=reading.variance[rows]
    )


def _response(reading: Reading, offset_db: float, valid: BoolArray, freedom: FloatArray) -> Valued:
    level_db = power_to_db(reading.power)
    near = near_noise(level_db, power_to_db(reading.noise))
    return Valued(
        value_db=level_db + offset_db,
        variance=_square_db(reading.variance),
        freedom=freedom,
        clear=valid & np.isfinite(level_db) & ~near,
    )


def _order(parts: Sequence[Reading], order: int, valid: BoolArray, freedom: FloatArray) -> Valued:
    own, fundamental = parts[order - 1], parts[0]
    value_db = power_to_db(own.power / fundamental.power)
    nothing = np.full_like(value_db, np.nan)  # the two sweep lengths are not held against each other here
    doubtful = doubtful_rows(
        value_db,
        noise_db=power_to_db(own.noise / fundamental.power),
        leak_db=power_to_db(own.leak / fundamental.power),
        bias_db=nothing,
        noise_uncertainty_db=nothing,
        invalid=~valid,
    )
    return Valued(
        value_db=value_db,
        variance=_square_db(own.variance + fundamental.variance),
        freedom=freedom,
        clear=~doubtful & np.isfinite(value_db),
    )


def _thd(parts: Sequence[Reading], valid: BoolArray, freedom: FloatArray) -> Valued:
    """Sum of the orders re the fundamental; its variance is that of the sum: sum of (P_n^2 v_n) over (sum P_n)^2."""
    fundamental = parts[0]
    power, noise, variance = (
        np.array([getattr(one, name) for one in parts[1:]]) for name in ("power", "noise", "variance")
    )
    there = np.isfinite(power)
    total = known_sum(power)
    total = np.where(total > 0, total, np.nan)
    value_db = power_to_db(total / fundamental.power)
    noise_db = power_to_db(known_sum(np.where(there, noise, np.nan)) / fundamental.power)
    of_orders = known_sum(np.where(there, np.square(power) * variance, np.nan)) / np.square(total)
    return Valued(
        value_db=value_db,
        variance=_square_db(of_orders + fundamental.variance),
        freedom=freedom,
        clear=valid & np.isfinite(value_db) & ~near_noise(value_db, noise_db),
    )


def _freedom_of_bins(frequency_hz: FloatArray, period_s: float) -> FloatArray:
    """The noise of a multitone is read in the bins of a third octave, two degrees of freedom each at least."""
    return np.asarray(2.0 * np.maximum(band_width_hz(frequency_hz, BROAD_OCTAVES) * period_s, 1.0))


def _square_db(relative: FloatArray) -> FloatArray:
    """Variance in dB squared from the variance relative to a squared power."""
    return np.asarray(relative * DB_PER_NEPER_OF_POWER**2)


def _variance(uncertainty_db: FloatArray) -> FloatArray:
    return np.asarray(np.square(uncertainty_db / TWO_SIDED_95))
