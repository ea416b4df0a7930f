"""What two sides of a comparison do not have in common, besides what was meant to differ."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from distort.analysis.common.sound_in_air import speed_of_sound_m_s
from distort.assembly.comparison.side import Side
from distort.session.audio.original import without_file_name
from distort.session.recordings.sidecar import Sidecar
from distort.session.recordings.stored import Recording
from signals import describe

LONG_APART_DAYS = 1.0
SAME_TEMPERATURE_K = 0.5
NOT_SAID = "not said"

_FIELDS_OF_LOUDSPEAKER = {
    "name": "loudspeaker",
    "unit": "unit",
    "firmware": "firmware",
    "input": "input",
    "volume": "volume",
    "preset": "preset",
    "note": "note",
}


@dataclass(frozen=True, kw_only=True)
class SetupDifference:
    """One thing in which the sides differ."""

    what: str
    a: str
    b: str
    parameter_of: str = ""
    """"sweep" or "multitone", of which `what` is a parameter; empty: it is none."""
    sound_faster_percent: float | None = None
    """Of a temperature: by how much the speed of sound is higher in B."""


def unlike(a: Side, b: Side) -> tuple[SetupDifference, ...]:
    """Everything in which the sides differ that may change a result: loudspeaker, set-up, stimuli, analysis, chain."""
    return (*_loudspeakers(a, b), *_set_ups(a, b), *_stimuli(a, b), *_analysis(a, b), *_chain(a, b))


def same_multitones(a: Side, b: Side) -> bool:
    """Whether both played the same multitones, drive apart; also where neither, or one only, played any."""
    if not (a.multitones and b.multitones):
        return True
    return _stimulus_words(a.multitones) == _stimulus_words(b.multitones)


def _loudspeakers(a: Side, b: Side) -> Iterator[SetupDifference]:
    one, other = a.sweeps[0].sidecar.loudspeaker, b.sweeps[0].sidecar.loudspeaker
    for field, what in _FIELDS_OF_LOUDSPEAKER.items():
        yield from _if_unlike(what, getattr(one, field), getattr(other, field))


def _set_ups(a: Side, b: Side) -> Iterator[SetupDifference]:
    one, other = a.sweeps[0].sidecar.setup, b.sweeps[0].sidecar.setup
    yield from _if_unlike("distance", f"{one.distance_m:g} m", f"{other.distance_m:g} m")
    yield from _if_unlike("radiation", one.radiation, other.radiation)
    apart_k = other.temperature_c - one.temperature_c
    if abs(apart_k) >= SAME_TEMPERATURE_K:
        percent = 100.0 * (speed_of_sound_m_s(other.temperature_c) / speed_of_sound_m_s(one.temperature_c) - 1.0)
        yield SetupDifference(
            what="temperature",
            a=f"{one.temperature_c:g} degC",
            b=f"{other.temperature_c:g} degC",
            sound_faster_percent=percent,
        )


def _stimuli(a: Side, b: Side) -> Iterator[SetupDifference]:
    for what, one, other in (("sweep", a.sweeps, b.sweeps), ("multitone", a.multitones, b.multitones)):
        if one and other:
            for found in _differing_keys(what, _stimulus_words(one), _stimulus_words(other)):
                yield replace(found, parameter_of=what)
        elif one or other:
            yield SetupDifference(what=what, a="played" if one else "none", b="played" if other else "none")


def _analysis(a: Side, b: Side) -> Iterator[SetupDifference]:
    one, other = a.plan.analysis, b.plan.analysis
    yield from _if_unlike(
        "time gate",
        "none" if one.gate_ms is None else f"{one.gate_ms:g} ms",
        "none" if other.gate_ms is None else f"{other.gate_ms:g} ms",
    )
    yield from _if_unlike("orders separated", str(one.orders), str(other.orders))


def _chain(a: Side, b: Side) -> Iterator[SetupDifference]:
    files = [None if side.microphone is None else side.microphone.used for side in (a, b)]
    digests = ["none" if used is None else f"{used.file} ({used.sha256[:8]})" for used in files]
    if {used and used.sha256 for used in files} != {files[0] and files[0].sha256}:
        yield SetupDifference(what="microphone response file", a=digests[0], b=digests[1])
    first = [side.sweeps[0] for side in (a, b)]
    calibrations = [one.sidecar.calibration for one in first]
    if calibrations[0] != calibrations[1]:
        words = ["none" if one is None else f"{one.calibrator_dbfs:.2f} dBFS in the calibrator" for one in calibrations]
        yield SetupDifference(what="calibration", a=words[0], b=words[1])
    yield from _if_unlike("player and recorder", *(without_file_name(one.sidecar.device) for one in first))
    simulated = ["simulated" if one.sidecar.simulated else "measured" for one in first]
    yield from _if_unlike("origin", simulated[0], simulated[1])
    yield from _dates(*(one.sidecar for one in first))
    for side, letter in ((a, "A"), (b, "B")):
        if not side.volume_known:
            yield SetupDifference(
                what="volume control",
                a=NOT_SAID if letter == "A" else "",
                b=NOT_SAID if letter == "B" else "",
            )


def _dates(a: Sidecar, b: Sidecar) -> Iterator[SetupDifference]:
    """Days that a recorder states are called so: its clock is another than the computer's."""
    made = [(datetime.fromisoformat(one.date), "") for one in (a, b)]
    for index, one in enumerate((a, b)):
        if one.original is not None and one.original.began is not None:
            by_recorder = datetime.fromtimestamp(one.original.began_s, UTC)
            made[index] = by_recorder, " by the recorder's clock"
    if abs((made[1][0] - made[0][0]).total_seconds()) > LONG_APART_DAYS * 86400.0:
        days = [f"{moment.date().isoformat()}{clock}" for moment, clock in made]
        yield SetupDifference(what="date", a=days[0], b=days[1])


def _if_unlike(what: str, a: str, b: str) -> Iterator[SetupDifference]:
    if a != b:
        yield SetupDifference(what=what, a=a or NOT_SAID, b=b or NOT_SAID)


def _differing_keys(what: str, a: dict[str, str], b: dict[str, str]) -> Iterator[SetupDifference]:
    for key in {**a, **b}:
        yield from _if_unlike(f"{what}, {key}", a.get(key, "none"), b.get(key, "none"))


def _stimulus_words(recordings: Sequence[Recording]) -> dict[str, str]:
    """What was played, without its drive, as words by the name of the field."""
    played = describe(recordings[0].sidecar.stimulus)
    return {
        name.replace("_", " "): f"{value:g}" if isinstance(value, float) else str(value)
        for name, value in played.items()
        if name != "drive_dbfs"
    }
