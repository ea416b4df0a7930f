"""The kinds of figures: what their names on disk begin with, and what the page says about each."""

import re
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One kind of figure."""

    stem: str
    """What the name of its file begins with."""
    heading: str
    shows: str
    """What is to be seen, in a sentence or two."""
    measured: str
    """How it came about."""


KINDS: tuple[Kind, ...] = (
    Kind(
        stem="response",
        heading="Frequency response",
        shows="The sound pressure level that came at each frequency, one curve a level. Dips and peaks that stand at "
        "every level belong to the loudspeaker and the place; curves that draw together are compression.",
        measured="From an exponential sweep: its recording divided by what was played, cut in time, smoothed in power.",
    ),
    Kind(
        stem="thd",
        heading="Total harmonic distortion at all levels",
        shows="The r.m.s. sum of all separated orders re the fundamental, one curve a level.",
        measured="From the same sweeps. Thin, open circles: use with caution. Dotted: below the noise floor. "
        "Hatched: a dip of the response. The sum holds fewer orders towards half the sample rate; the tables say how "
        "many.",
    ),
    Kind(
        stem="harmonics",
        heading="Harmonic distortion, order by order",
        shows="Each harmonic order and their sum re the fundamental, in decibels and per cent. Every order stands at "
        "the frequency that was played, not at its own.",
        measured="From the sweep: order n arrives earlier than the fundamental and is cut out with its own window. "
        "The grey ground is the noise floor. Thin, open circles: use with caution (near its floor, or spoilt by "
        "reverberation, a time gate or the sweep's speed). Dotted: below its own floor. Hatched: a dip of the "
        "response, where the fundamental is lower.",
    ),
    Kind(
        stem="harmonics-absolute",
        heading="Harmonic distortion in sound pressure level",
        shows="The same orders as levels of their own, beside the fundamental: how loud each one is.",
        measured="As above; the level of a component at n times the frequency played, drawn at the frequency played.",
    ),
    Kind(
        stem="harmonics-input",
        heading="Harmonic distortion referred to the input",
        shows="What a linear loudspeaker would have to be fed with to sound the same: the response is taken out of "
        "each order.",
        measured="As above, less the difference of the response at n f and at f. It holds where both leave by the same "
        "way, so not across a crossover.",
    ),
    Kind(
        stem="multitone",
        heading="Multitone distortion",
        shows="What was played, and the distortion products: even and odd orders with all their "
        "intermodulation, per third octave.",
        measured="From a periodic multitone: even orders fall on even multiples of its period, odd orders on odd "
        "multiples left free, noise is what does not repeat.",
    ),
    Kind(
        stem="compression",
        heading="Compression against frequency",
        shows="How far the output falls short of linear as the level rises; 0 dB is a loudspeaker that follows "
        "exactly.",
        measured="The response at each level less that at the lowest, less the difference of the drives. Pale: 95 % "
        "interval. Heating while playing is included.",
    ),
    Kind(
        stem="input_output",
        heading="Output against drive",
        shows="The same per octave: the straight line is a loudspeaker that follows exactly.",
        measured="Power mean of the response over each octave, against the drive as played.",
    ),
    Kind(
        stem="impulsive",
        heading="Rattle, rub and airflow noise",
        shows="Where something strikes, rubs or blows while the sweep plays: how far the loudest part of a cycle "
        "stands out of the rest, one curve a level.",
        measured="What lies above the tenth order, cut into parts of the sweep's cycles and averaged over a sixth "
        "octave; confirmed by another recording.",
    ),
    Kind(
        stem="noise",
        heading="Noise that comes with level",
        shows="What is heard beside tones and distortion while a multitone plays, less the noise of the silence, one "
        "curve a level: air in a port, a leak, a loose part, or a link that is not clean.",
        measured="Between the bins of the multitone's period, where nothing that repeats lies; per third octave.",
    ),
    Kind(
        stem="burst",
        heading="How loud bursts go",
        shows="The highest peak of a short burst in each third octave, and what ended it: compression, an order of "
        "distortion, or what the plan allows.",
        measured="Bursts of a few periods, louder from recording to recording; a band is left out once it has met a "
        "limit, and the level of the crossing is interpolated.",
    ),
    Kind(
        stem="burst-compression",
        heading="Compression of bursts",
        shows="How far the output of a burst falls short of linear at each level. Bursts are too short to heat a coil.",
        measured="Energy of the burst at its frequency re the lowest level, less the difference of the drives.",
    ),
    Kind(
        stem="frames",
        heading="Limiter, heat, or at once",
        shows="How the gain goes while a sine is loud for a moment, and while it is quiet again: a limiter comes and "
        "goes within tenths of a second, heat stays, and what acts in every cycle jumps.",
        measured="The amplitude of the sine over that of a loudspeaker that loses nothing in the same room, as the "
        "quiet sine before it shows the room.",
    ),
    Kind(
        stem="heating",
        heading="Long heating",
        shows="How the level goes while a multitone is loud for minutes, in the third octaves that change most, and "
        "what comes back after it: a voice coil that warms costs level within seconds, its magnet over minutes.",
        measured="Power of the lines of a third octave, period by period, with one or two exponentials fitted to it; "
        "after the end a quiet multitone re the same before the start.",
    ),
    Kind(
        stem="findings",
        heading="Findings in one picture",
        shows="Where distortion rises or compression changes, and what lies behind it.",
        measured="The value at the place less that of both flanks, split into what the fundamental, the response at "
        "n f "
        "and the loudspeaker itself add.",
    ),
    Kind(
        stem="quality",
        heading="Signal to noise",
        shows="How far the response stands above the noise of its recording at each level.",
        measured="The noise is read from the silence in each recording, through the same windows as the response.",
    ),
)

OTHER = Kind(stem="", heading="Further figures", shows="", measured="")


@dataclass(frozen=True, kw_only=True)
class Placed:
    """A figure's file among its kind."""

    stem: str
    kind: Kind
    condition: str | None
    rest: str
    """What its name ends in: "86dB", "sweep", or nothing."""

    @property
    def title(self) -> str:
        """Which one of its kind: "desk, 86 dB"."""
        rest = re.sub(r"^([0-9.]+)dB$", r"\1 dB SPL (nominal)", self.rest)
        return ", ".join(part for part in (self.condition, rest) if part)


def placed(stems: Iterable[str], conditions: Iterable[str]) -> tuple[Placed, ...]:
    """Each figure with its kind, condition and the rest of its name; those of no kind come last, as they are."""
    names = sorted(conditions, key=len, reverse=True)
    kinds = sorted(KINDS, key=lambda kind: len(kind.stem), reverse=True)
    found = [_place(stem, kinds, names) for stem in stems]
    order = {kind.stem: index for index, kind in enumerate((*KINDS, OTHER))}
    return tuple(sorted(found, key=lambda one: order[one.kind.stem]))


def _place(stem: str, kinds: list[Kind], conditions: list[str]) -> Placed:
    for kind in kinds:
        for condition in conditions:
            start = f"{kind.stem}_{condition}"
            if stem == start or stem.startswith(f"{start}_"):
                return Placed(stem=stem, kind=kind, condition=condition, rest=stem[len(start) + 1 :])
    return Placed(stem=stem, kind=OTHER, condition=None, rest=stem.replace("_", " "))
