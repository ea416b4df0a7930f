"""What a loudspeaker makes beyond the tenth order, as a sound to be heard: where a rattle is, it rattles."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.impulsive.residual import Residual, as_recorded
from distort.analysis.sweep.beyond import beyond_orders
from distort.analysis.sweep.deconvolution import deconvolve
from distort.errors import SessionError
from distort.recording.reading import sweep_take_of
from distort.session.calibration.in_force import reference_of
from distort.session.files.folder import SessionFolder
from distort.session.plan.kinds import SWEEP
from distort.session.recordings.stored import Recording, load_recordings
from signals.levels import amplitude_to_db, db_to_amplitude
from signals.tapers import rise

PEAK_DBFS = -12.0
"""Of the sound as it is written: whoever listens does not know how loud it will be."""

BESIDE_S = 0.4
"""Heard before and after what is asked for, so that it begins and ends."""

LONGEST_S = 6.0
"""Of a cut: of what is longer, the loudest stretch of this length. 0.3 MB in a page."""

FADE_S = 0.01
"""At both ends of a cut."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ResidualSound:
    """The sound and where it comes from."""

    samples: npt.NDArray[np.float64]
    """`(samples,)`, full scale 1."""
    sample_rate: int
    condition: str
    level_db_spl: float
    """Nominal, of the sweep."""
    file: str
    """The recording, within the session."""
    recording_sha256: str
    simulated: bool
    raised_db: float
    """By how much it was made louder than it stands in the recording."""
    peak_db_spl: float | None
    """Of its highest peak at the microphone, as the r.m.s. of a sine of that amplitude; None: no calibration."""


def residual_sound(
    folder: SessionFolder, condition: str, level_db_spl: float, *, while_hz: tuple[float, float] | None = None
) -> ResidualSound:
    """Of the first take of the sweep at that nominal level that nobody rejected.

    while_hz   only while the sweep plays these frequencies, and shortly before and after; None: all of it

    Raises SessionError when there is none or it holds nothing there, and as `prepare` and `deconvolve` do.
    """
    recording = _sweep_of(load_recordings(folder, condition), level_db_spl, condition)
    take, sweep = sweep_take_of(recording)
    residual = as_recorded(beyond_orders(deconvolve(take.samples, sweep, start=take.start, orders=1)))
    samples = residual.samples if while_hz is None else _cut(residual, while_hz)
    peak = float(np.max(np.abs(samples), initial=0.0))
    if not peak > 0.0:
        raise SessionError(f"{recording.files.in_session} holds nothing beyond the tenth order that could be heard")
    reference = reference_of(recording.sidecar.calibration, distance_m=1.0)
    return ResidualSound(
        samples=samples * (float(db_to_amplitude(PEAK_DBFS)) / peak),
        sample_rate=sweep.sample_rate,
        condition=condition,
        level_db_spl=recording.sidecar.level_db_spl,
        file=recording.files.in_session,
        recording_sha256=recording.sidecar.recording_sha256,
        simulated=recording.sidecar.simulated,
        raised_db=PEAK_DBFS - float(amplitude_to_db(peak)),
        peak_db_spl=float(amplitude_to_db(peak)) + reference.offset_db if reference.unit == "db_spl" else None,
    )


def _cut(residual: Residual, while_hz: tuple[float, float]) -> npt.NDArray[np.float64]:
    """While the sweep plays these frequencies, faded in and out, `(samples,)`."""
    sweep = residual.sweep
    low_s, high_s = (float(sweep.time_s(hz)) - residual.first_s for hz in while_hz)
    first = max(round((low_s - BESIDE_S) * sweep.sample_rate), 0)
    cut = residual.samples[first : max(round((high_s + BESIDE_S) * sweep.sample_rate), first)]
    longest = round(LONGEST_S * sweep.sample_rate)
    if cut.size > longest:
        energy = np.concatenate([[0.0], np.cumsum(np.square(cut))])
        begin = int(np.argmax(energy[longest:] - energy[:-longest]))
        cut = cut[begin : begin + longest]
    cut = cut.copy()
    fade = min(round(FADE_S * sweep.sample_rate), cut.size // 2)
    edge = rise(np.arange(fade) / max(fade, 1))
    cut[:fade] *= edge
    cut[cut.size - fade :] *= edge[::-1]
    return cut


def _sweep_of(recordings: tuple[Recording, ...], level_db_spl: float, condition: str) -> Recording:
    sweeps = [
        one
        for one in recordings
        if one.sidecar.stimulus_name == SWEEP and one.sidecar.rejected is None and not one.sidecar.after
    ]
    found = [one for one in sweeps if one.sidecar.level_db_spl == level_db_spl]
    if not found:
        known = ", ".join(f"{level:g}" for level in sorted({one.sidecar.level_db_spl for one in sweeps})) or "none"
        raise SessionError(
            f"condition {condition} has no sweep at {level_db_spl:g} dB SPL that is not rejected: there are {known}"
        )
    return found[0]
