"""What a search for coincidences looks at, and what it finds before the findings are put in order."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.coincidences.cause_words import EXPERIMENTS, sentence
from distort.analysis.coincidences.compression_excess import ChangeCurve
from distort.analysis.coincidences.faults import Anomaly, Cause, Coincidence, Evidence
from distort.analysis.coincidences.split import DistortionCurve

FloatArray = npt.NDArray[np.float64]

BESIDE = 2.0 ** (1.0 / 6.0)
"""An anomaly reaches this far beyond where half of it is left."""

ALONE_HALF_WIDTH_OCTAVES = 1.0 / 6.0
"""Either side of a rise without an anomaly, for figures."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Looked:
    """All that is looked at in one condition."""

    response_hz: FloatArray
    response_db: FloatArray
    """Of the lowest level, `(rows,)`."""
    anomalies: tuple[Anomaly, ...]
    distortion: tuple[DistortionCurve, ...]
    changes: tuple[ChangeCurve, ...] = ()
    in_room: bool = False
    """The set-up stands in a room, and neither a gate nor a curve measured elsewhere takes the room out."""
    lowest_valid_hz: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Finding:
    """A coincidence before it is numbered."""

    coincidence: Coincidence
    strength: float
    """dB of distortion, for the order of the list."""


def calm_rows(looked: Looked, frequency_hz: FloatArray, *, orders: tuple[int, ...]) -> npt.NDArray[np.bool_]:
    """Which rows lie at no anomaly, neither at f nor at n f: there a curve shows its own roughness."""
    calm = np.ones(frequency_hz.size, dtype=np.bool_)
    for anomaly in looked.anomalies:
        for factor in orders:
            at_hz = factor * frequency_hz
            calm &= ~((at_hz > anomaly.low_hz / BESIDE) & (at_hz < anomaly.high_hz * BESIDE))
    return calm


def finding(
    looked: Looked,
    curve: DistortionCurve | ChangeCurve,
    cause: Cause,
    evidence: Evidence,
    *,
    frequency_hz: float,
    strength: float,
    anomaly: Anomaly | None,
    anomaly_at: int = 1,
    band_hz: tuple[float, float] | None = None,
) -> Finding:
    """One finding with its words; its number and its probabilities come later.

    band_hz   of a compression that needs no anomaly
    """
    in_room = anomaly is not None and (looked.in_room or cause == "room")
    if band_hz is not None:
        low_hz, high_hz = band_hz
    elif anomaly is not None:
        low_hz, high_hz = anomaly.low_hz / anomaly_at, anomaly.high_hz / anomaly_at
    else:
        wide = 2.0**ALONE_HALF_WIDTH_OCTAVES
        low_hz, high_hz = frequency_hz / wide, frequency_hz * wide
    return Finding(
        coincidence=Coincidence(
            number=0,
            anomaly=None if anomaly is None else anomaly.number,
            anomaly_at=anomaly_at,
            quantity=curve.quantity,
            level=curve.level,
            frequency_hz=frequency_hz,
            low_hz=low_hz,
            high_hz=high_hz,
            cause=cause,
            evidence=evidence,
            chance_probability=None,
            chance_probability_report=None,
            in_room=in_room,
            next_experiment=EXPERIMENTS[cause],
            sentence=sentence(
                cause,
                curve.quantity,
                evidence,
                frequency_hz=frequency_hz,
                anomaly=anomaly,
                anomaly_at=anomaly_at,
                in_room=in_room,
                band_hz=band_hz,
            ),
        ),
        strength=strength,
    )
