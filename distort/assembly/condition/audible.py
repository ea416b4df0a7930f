"""What a listener at 1 m would hear of the distortion of a condition, over the noise that its recordings hold."""

from collections.abc import Sequence

import numpy.typing as npt
from numpy import float64

from distort.analysis.common.curves import Harmonics
from distort.analysis.common.quantities import MULTITONE_DISTORTION, harmonic
from distort.analysis.hearing.audibility import multitone_margins, octave_margins, order_margins, room_noise_db_spl
from distort.analysis.multitone.curves import MultitoneBands
from distort.analysis.sweep.noise import NoiseDensity
from distort.analysis.sweep.response import lowest_valid_hz
from distort.assembly.condition.levels import LevelsRead
from distort.session.results.audibility_results import AudibilityFound, Background
from signals.levels import spl_of_full_scale

FloatArray = npt.NDArray[float64]


def audibility(read: LevelsRead, harmonics: Sequence[Harmonics]) -> tuple[AudibilityFound, ...]:
    """Every order of every level, then the multitones; empty without a calibration. Each over the room's noise, where a
    silence was recorded, and over none. A multitone has its room from the sweep of its level."""
    found: list[AudibilityFound] = []
    for (level, sweep), one in zip(read.sweeps.items(), harmonics, strict=True):
        calibration = sweep.takes[0].sidecar.calibration
        if calibration is None:
            return ()
        full_scale = spl_of_full_scale(
            calibrator_dbfs=calibration.calibrator_dbfs, calibrator_db_spl=calibration.calibrator_db_spl
        )
        for background, noise in _backgrounds(sweep.read.noise):
            room = None if noise is None else _room(noise, full_scale, one.frequency_hz)
            for order in one.orders:
                margins = order_margins(one, order.order, noise_db_spl=room)
                found.append(
                    AudibilityFound(
                        quantity=harmonic(order.order),
                        level_db_spl=level,
                        background=background,
                        octaves=octave_margins(margins, lowest_valid_hz=lowest_valid_hz(sweep.read.separated)),
                    )
                )
            if level in read.multitones:
                bands = read.multitones[level].result.bands
                room = None if noise is None else _room(noise, full_scale, bands.frequency_hz)
                found.append(_of_multitone(bands, room, level_db_spl=level, background=background))
    return tuple(found)


def _backgrounds(noise: NoiseDensity | None) -> tuple[tuple[Background, NoiseDensity | None], ...]:
    return (("silence", None),) if noise is None else (("room", noise), ("silence", None))


def _room(noise: NoiseDensity, full_scale_db_spl: float, at_hz: FloatArray) -> FloatArray:
    return room_noise_db_spl(noise, full_scale_db_spl=full_scale_db_spl, at_hz=at_hz)


def _of_multitone(
    bands: MultitoneBands, room: FloatArray | None, *, level_db_spl: float, background: Background
) -> AudibilityFound:
    margins = multitone_margins(
        bands.frequency_hz,
        lines_db_spl=bands.level_db,
        distortion_db=bands.distortion_db,
        doubtful=bands.doubtful,
        noise_db_spl=room,
    )
    return AudibilityFound(
        quantity=MULTITONE_DISTORTION,
        level_db_spl=level_db_spl,
        background=background,
        octaves=octave_margins(margins, lowest_valid_hz=0.0),
    )
