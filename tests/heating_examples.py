"""A long heating as an analysis would leave it, of a coil and its magnet: every number is known in closed form."""

import numpy as np

from distort.analysis.heating.exponentials import Course, Term
from distort.analysis.heating.result import TIMES_S, HeatingBand, HeatingLevel, HeatingResult

AT_HZ = 1000.0 * 10.0 ** (np.arange(-10, 10, 2) / 10.0)
TAUS_S = np.array([9.0, 240.0])
FIRST_S = 3.0
"""Changes are stated against this moment."""


def band(losses_db: tuple[float, float], *, loud_s: float, pilot_at_s: np.ndarray, told: bool = True) -> HeatingBand:
    """A third octave that loses so much in the long run by coil and magnet."""

    def lost_db(at_s: np.ndarray) -> np.ndarray:
        return (1.0 - np.exp(-at_s[:, None] / TAUS_S)) @ np.array(losses_db)

    times = np.array(TIMES_S)
    first_db = float(lost_db(np.array([FIRST_S]))[0])
    at_end_db = np.array(losses_db) * (1.0 - np.exp(-loud_s / TAUS_S))
    terms = [
        Term(change_db=-loss, tau_s=float(tau), low_s=float(tau) / 1.2, high_s=float(tau) * 1.2)
        for loss, tau in zip(losses_db, TAUS_S, strict=True)
    ]
    return HeatingBand(
        course=Course(
            change_db=-float(np.sum(at_end_db)),
            uncertainty_db=0.03,
            terms=tuple(terms) if told else (),
            start_db=first_db,
            scatter_db=0.06,
        ),
        change_at_db=np.where(times <= loud_s, first_db - lost_db(times), np.nan),
        change_at_uncertainty_db=np.where(times <= loud_s, 0.06, np.nan),
        left_db=-np.exp(-pilot_at_s[:, None] / TAUS_S) @ at_end_db,
        left_uncertainty_db=np.full(pilot_at_s.size, 0.1),
    )


def heating(
    *, loud_s: float = 900.0, asked_s: float = 900.0, pilots: int = 5, told: bool = True, scale: float = 1.0
) -> HeatingResult:
    """At 96 dB SPL: the lower, the more is lost, 1.2 dB times `scale` by the coil at most."""
    pilot_at_s = np.array([4.0, 19.0, 44.0, 94.0, 184.0])[:pilots]
    losses = scale * np.linspace(1.2, 0.2, AT_HZ.size)
    bands = [band((float(loss), 0.5 * float(loss)), loud_s=loud_s, pilot_at_s=pilot_at_s, told=told) for loss in losses]
    level = HeatingLevel(
        level_db_spl=96.0, loud_s=loud_s, asked_s=asked_s, left_out_s=0.0, pilot_at_s=pilot_at_s, bands=tuple(bands)
    )
    return HeatingResult(frequency_hz=AT_HZ, levels=(level,))
