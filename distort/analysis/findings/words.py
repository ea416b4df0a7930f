"""What a finding says: a headline, a sentence, and what would confirm it."""

import re
from collections.abc import Callable, Mapping

from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.finding import Draft, Explanation, NextStep, response_shows
from distort.analysis.findings.frame_words import frame_sentence
from distort.analysis.findings.impulse_findings import of_impulses
from distort.analysis.findings.impulse_words import impulse_words
from distort.analysis.findings.next_steps import next_step

HEAT_S = 5.0
"""What settles within it may be a limiter or a voice coil, what takes longer is heat or a slow protection (common
practice, no source)."""

MOST_HEADLINE = 78
"""Characters."""

NOT_SHOWN = "the recordings do not show why"

MOST_PLACES = 3
"""Named in a sentence."""

ORDINALS = {2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth", 7: "seventh", 8: "eighth", 9: "ninth"}

NAMES: Mapping[Explanation, str] = {
    "delayed-copy": "a reflection",
    "resonance": "a resonance",
    "filter-before-source": "a dip of what drives the loudspeaker",
    "level-dependent-resonance": "a resonance that changes with level",
    "loudspeaker-generated": "distortion of the loudspeaker's own",
    "product-on-peak": "a resonance where the harmonics come out",
    "ringing": "decay of the room or the loudspeaker",
    "conversion-image": "images of a sample rate conversion",
    "event-in-time": "a sound from elsewhere during the sweep",
    "cancellation": "two sources that nearly cancel",
    "room": "the room",
    "compression": "compression",
    "expansion": "expansion",
    "limiting": "a limiter",
    "heating": "heating",
    "rattle": "a rattle",
    "rub": "a rub",
    "airflow-noise": "airflow noise",
    "unpredicted-by-orders": "distortion with memory",
    "noise": "ripple or noise",
    "undecided": "undecided",
}


def hertz(value_hz: float) -> str:
    """Three digits that count: 31.6 Hz, 1.06 kHz."""
    return f"{value_hz:.3g} Hz" if value_hz < 999.5 else f"{value_hz / 1000.0:.3g} kHz"


def ordinal(order: float) -> str:
    """third harmonic"""
    number = int(order)
    return f"{ORDINALS.get(number, f'{number}th')} harmonic"


def words(draft: Draft, evidence: Evidence) -> tuple[str, str, NextStep]:
    """Headline, sentence, and the next step."""
    if of_impulses(draft):
        return impulse_words(draft, evidence)
    at = _at(draft)
    said = _response_alone if "response_db" in draft.numbers else _SAID.get(draft.explanation, _plain)
    headline, sentence = said(draft, at)
    if draft.also and (draft.explanation, *draft.also) != ("product-on-peak", "resonance"):
        name = NAMES[draft.also[0]]
        sentence += f" {name[0].upper()}{name[1:]} adds to it."
    if draft.in_room and draft.explanation in ("delayed-copy", "resonance", "product-on-peak", "undecided"):
        sentence = f"Where the microphone stood: {sentence[0].lower()}{sentence[1:]}"
    return _fitting(headline), sentence, next_step(draft, evidence)


def _fitting(headline: str) -> str:
    """What is in brackets goes first where it is too long, then whole words."""
    if len(headline) > MOST_HEADLINE:
        headline = re.sub(r" \([^)]*\)", "", headline)
    return headline if len(headline) <= MOST_HEADLINE else headline[: MOST_HEADLINE + 1].rsplit(" ", 1)[0]


def _at(draft: Draft) -> str:
    """Where: up to three places, the strongest, in the order of frequency."""
    places = [hertz(at_hz) for at_hz in sorted(one.frequency_hz for one in draft.places[:MOST_PLACES])]
    if len(draft.places) > MOST_PLACES:
        return f"{', '.join(places)} and more"
    return places[0] if len(places) == 1 else f"{', '.join(places[:-1])} and {places[-1]}"


def _largest_rise(draft: Draft) -> str:
    """The largest rise that speaks for it: "second harmonic by 20 dB"."""
    rows = [row for row in draft.evidence if row.quantity.startswith("h") and row.speaks == "for"]
    rows = rows or [row for row in draft.evidence if row.quantity.startswith("h")]
    if not rows:
        return "distortion"
    top = max(rows, key=lambda row: row.rise_db)
    return f"the {ordinal(float(top.quantity[1:]))} by {top.rise_db:.0f} dB"


NO_MORE = " The loudspeaker itself produces no more there than at nearby frequencies."


def _copy(draft: Draft, at: str) -> tuple[str, str]:
    path = f" (path {100.0 * draft.numbers['path_m']:.0f} cm longer)" if "path_m" in draft.numbers else ""
    return (
        f"{at}: a reflection{path} weakens the fundamental",
        f"At {at} a reflection{path} weakens the fundamental, so distortion re the fundamental rises, "
        f"{_largest_rise(draft)}.{_no_more(draft)}",
    )


def _no_more(draft: Draft) -> str:
    return "" if "loudspeaker-generated" in draft.also else NO_MORE


def _resonance(draft: Draft, at: str) -> tuple[str, str]:
    return (
        f"{at}: a dip of the response raises distortion re the fundamental",
        f"At {at} the response dips by {-draft.numbers['fundamental_db']:.0f} dB, as a resonance does, so distortion "
        f"re the fundamental rises, {_largest_rise(draft)}.{_no_more(draft)}",
    )


def _response_alone(draft: Draft, at: str) -> tuple[str, str]:
    size_db = draft.numbers["response_db"]
    does = f"{'dips' if size_db < 0.0 else 'peaks'} by {abs(size_db):.0f} dB"
    if not draft.decided:
        return (
            f"{at}: the response {does}; why is open",
            f"At {at} the response {does}, and no harmonic stands out there; the data cannot tell {_between(draft)}.",
        )
    name = NAMES[draft.explanation]
    return (
        f"{at}: {name}, the response {does}",
        f"At {at} the response {does}, as {name} makes it, and no harmonic stands out there because of it.",
    )


def _room(draft: Draft, at: str) -> tuple[str, str]:
    return (
        f"{at}: the room weakens the fundamental",
        f"At {at} the room weakens the fundamental, as the response measured elsewhere shows, so distortion re the "
        f"fundamental rises, {_largest_rise(draft)}.",
    )


def _cancellation(draft: Draft, at: str) -> tuple[str, str]:
    if "excess_db" in draft.numbers:
        return (
            f"{at}: two sources nearly cancel, and one of them changes with level",
            f"At {at} two sources nearly cancel, and one of them changes with level: the dip changes by "
            f"{draft.numbers['change_db']:+.2f} dB where the peak beside it changes as much less as the dip is deep.",
        )
    return (
        f"{at}: two sources nearly cancel; only one of them distorts",
        f"At {at} the fundamental dips and its harmonics do not follow: two sources nearly cancel, and only one "
        f"distorts. Distortion re the fundamental rises, {_largest_rise(draft)}.",
    )


def _before(draft: Draft, at: str) -> tuple[str, str]:
    drive_db = draft.numbers["fundamental_db"]
    word, does = ("dip", "fall") if drive_db < 0.0 else ("peak", "rise")
    return (
        f"{at}: the {word} lies before what distorts: harmonics {does} with it",
        f"At {at} the response has a {word} of {abs(drive_db):.0f} dB, and the harmonics {does} n times as much: it "
        f"lies "
        f"before what distorts, in a filter or an equaliser.",
    )


def _source(draft: Draft, at: str) -> tuple[str, str]:
    numbers = draft.numbers
    what = ordinal(numbers["order"])
    if "at_least" in numbers:
        return (
            f"{at}: the loudspeaker itself makes at least {numbers['source_db']:.0f} dB more {what}",
            f"At {at} the loudspeaker itself produces at least {numbers['source_db']:.0f} dB more of the {what} than "
            f"at nearby frequencies, where it lies below the noise; the response does not explain it.",
        )
    return (
        f"{at}: the loudspeaker itself makes {numbers['source_db']:.0f} dB more {what} than nearby",
        f"At {at} the loudspeaker itself produces {numbers['source_db']:.1f} +- {numbers['source_interval_db']:.1f} "
        f"dB more of "
        f"the {what} than at nearby frequencies; the response does not explain it.",
    )


def _peak(draft: Draft, at: str) -> tuple[str, str]:
    heard = hertz(draft.numbers["heard_hz"])
    return (
        f"{heard}: a resonance raises the harmonics that come out there",
        f"Tones of {at} have stronger harmonics, {_largest_rise(draft)}, because these come out at {heard}, where a "
        f"resonance raises what the loudspeaker radiates.{_unseen(draft)}",
    )


def _unseen(draft: Draft) -> str:
    """That the response does not show the resonance, where it does not: a cone's break-up above a crossover, say."""
    if response_shows(draft.evidence):
        return ""
    return " The response does not show it: another part radiates the tones of that frequency, as above a crossover."


def _compression(draft: Draft, at: str) -> tuple[str, str]:
    numbers, frames = draft.numbers, frame_sentence(draft.numbers)
    if "excess_db" in numbers:
        return (
            f"{at}: {-numbers['excess_db']:.1f} dB more compression than nearby at {_level(draft)}",
            f"At {at} the output at {numbers['level_db_spl']:.0f} dB SPL falls short by {-numbers['excess_db']:.2f} +- "
            f"{numbers['excess_interval_db']:.2f} dB more than at nearby frequencies: it compresses"
            f"{'' if frames else f'; {NOT_SHOWN}'}.{frames}",
        )
    band = _band(draft)
    return (
        f"{band}: up to {-numbers['change_db']:.1f} dB of compression at {_level(draft)}",
        f"From {band} the output falls short of linear by up to {-numbers['change_db']:.1f} dB at "
        f"{numbers['level_db_spl']:.0f} dB SPL: it compresses{'' if frames else f'; {_how(draft)}'}.{frames}",
    )


def _how(draft: Draft) -> str:
    """What the time that a multitone takes to settle leaves open of a band that falls short."""
    if "settles_s" not in draft.numbers:
        return NOT_SHOWN
    settles_s = draft.numbers["settles_s"]
    kinds = "a limiter or the voice coil" if settles_s < HEAT_S else "heat or a slow protection"
    return f"a multitone takes {settles_s:.0f} s to settle, so the cause is {kinds}"


def _expansion(draft: Draft, at: str) -> tuple[str, str]:
    numbers = draft.numbers
    if "excess_db" in numbers:
        return (
            f"{at}: {numbers['excess_db']:.1f} dB more expansion than nearby at {_level(draft)}",
            f"At {at} the output at {numbers['level_db_spl']:.0f} dB SPL rises by {numbers['excess_db']:.2f} +- "
            f"{numbers['excess_interval_db']:.2f} dB more than at nearby frequencies: it expands; {NOT_SHOWN}.",
        )
    band = _band(draft)
    return (
        f"{band}: up to {numbers['change_db']:.1f} dB of expansion at {_level(draft)}",
        f"From {band} the output exceeds linear by up to {numbers['change_db']:.1f} dB at "
        f"{numbers['level_db_spl']:.0f} dB SPL: it expands; {NOT_SHOWN}.",
    )


def _fills(draft: Draft, at: str) -> tuple[str, str]:
    numbers = draft.numbers
    return (
        f"{at}: the dip fills by {numbers['excess_db']:.1f} dB as the level rises",
        f"At {at} a dip of the response fills by {numbers['excess_db']:.2f} +- {numbers['excess_interval_db']:.2f} "
        f"dB up to "
        f"{numbers['level_db_spl']:.0f} dB SPL, and its flanks do not: what makes the dip saturates.",
    )


def _limiting(draft: Draft, at: str) -> tuple[str, str]:
    if "excess_db" in draft.numbers:
        return _at_a_place(draft, at, "a limiter")
    band = _band(draft)
    settles_s = draft.numbers.get("time_constant_s")
    how = ""
    if settles_s is not None:
        how = f"; a multitone takes {1000.0 * settles_s:.0f} ms to settle: a limiter is that fast"
    return (
        f"{band}: a limiter, up to {-draft.numbers['change_db']:.1f} dB at {_level(draft)}",
        f"{_falls_short(draft)}{how}.{frame_sentence(draft.numbers)}",
    )


def _heating(draft: Draft, at: str) -> tuple[str, str]:
    if "excess_db" in draft.numbers:
        return _at_a_place(draft, at, "heat")
    numbers = draft.numbers
    stayed = "; part of it was still there when the lowest level was played again: heat, or a slow release"
    return (
        f"{_band(draft)}: up to {-numbers['change_db']:.1f} dB of compression at {_level(draft)}, part of it heat",
        f"{_falls_short(draft)}{'' if 'frame_heat_db' in numbers else stayed}.{frame_sentence(numbers)}",
    )


def _falls_short(draft: Draft) -> str:
    return (
        f"From {_band(draft)} the output falls short of linear by up to {-draft.numbers['change_db']:.1f} dB at "
        f"{draft.numbers['level_db_spl']:.0f} dB SPL"
    )


def _at_a_place(draft: Draft, at: str, cause: str) -> tuple[str, str]:
    """A place that falls short of its flanks, and what a frame told of it."""
    numbers = draft.numbers
    return (
        f"{at}: {-numbers['excess_db']:.1f} dB more compression than nearby at {_level(draft)}, by {cause}",
        f"At {at} the output at {numbers['level_db_spl']:.0f} dB SPL falls short by {-numbers['excess_db']:.2f} +- "
        f"{numbers['excess_interval_db']:.2f} dB more than at nearby frequencies.{frame_sentence(numbers)}",
    )


def _level(draft: Draft) -> str:
    return f"{draft.numbers['level_db_spl']:.0f} dB SPL"


def _band(draft: Draft) -> str:
    return f"{hertz(draft.low_hz)} to {hertz(draft.high_hz)}"


def _between(draft: Draft) -> str:
    """What an open finding lies between, two of it at most, as it stands after "cannot tell"."""
    between = [NAMES[one] for one in dict.fromkeys(draft.between) if one != "undecided"]
    if not between:
        return "the cause"
    return " from ".join(between[:2]) if len(between) > 1 else f"whether it is {between[0]}"


def _undecided(draft: Draft, at: str) -> tuple[str, str]:
    or_words = _between(draft)
    if "excess_db" in draft.numbers:
        return (
            f"{at}: the output changes by {draft.numbers['excess_db']:+.1f} dB; why is open",
            f"At {at} the output changes by {draft.numbers['excess_db']:+.2f} dB more than at nearby frequencies; the "
            f"data cannot tell {or_words}.",
        )
    against = f"; {', '.join(dict.fromkeys(draft.against))} speaks against it" if draft.against else ""
    return (
        f"{at}: distortion rises; why is open",
        f"At {at} distortion re the fundamental rises, {_largest_rise(draft)}; the data cannot tell "
        f"{or_words}{against}.",
    )


def _image(draft: Draft, at: str) -> tuple[str, str]:
    below = f"{draft.numbers['below_db']:.0f} dB below the tone"
    return (
        f"{at}: images of a sample rate conversion, not the loudspeaker",
        f"At {at} orders rise where n f meets {hertz(draft.numbers['difference_hz'])} +- f, {below}: images that a "
        f"conversion of the sample rate left in the recording, not distortion of the loudspeaker.",
    )


def _event(draft: Draft, at: str) -> tuple[str, str]:
    numbers = draft.numbers
    level = f"{numbers['level_db_spl']:.0f} dB SPL"
    span = f"{hertz(draft.low_hz)} to {hertz(draft.high_hz)}"
    return (
        f"{span}: something else sounded during the sweep at {level}",
        f"While the sweep at {level} passed {span}, something sounded that the loudspeaker did not make; orders "
        f"{numbers['lowest_order']:.0f} to {numbers['highest_order']:.0f} are not to be relied on there.",
    )


def _unpredicted(draft: Draft, at: str) -> tuple[str, str]:
    numbers = draft.numbers
    part, level = "odd" if numbers["odd"] else "even", f"{numbers['level_db_spl']:g} dB SPL"
    return (
        f"{at}: many tones at {level} distort more than single tones tell",
        f"At {level} the multitone's {part} distortion lies {numbers['above_db']:.0f} dB above what the harmonics of "
        f"the sweeps predict, most at {at}; at {numbers['fits_at_db_spl']:g} dB SPL they predict it: something with "
        f"memory acts, such as a limiter or heat.",
    )


def _plain(draft: Draft, at: str) -> tuple[str, str]:
    name = NAMES[draft.explanation]
    return f"{at}: {name}", f"At {at} what is seen is {name}."


_SAID: Mapping[Explanation, Callable[[Draft, str], tuple[str, str]]] = {
    "delayed-copy": _copy,
    "resonance": _resonance,
    "room": _room,
    "cancellation": _cancellation,
    "filter-before-source": _before,
    "loudspeaker-generated": _source,
    "product-on-peak": _peak,
    "compression": _compression,
    "expansion": _expansion,
    "level-dependent-resonance": _fills,
    "limiting": _limiting,
    "heating": _heating,
    "conversion-image": _image,
    "event-in-time": _event,
    "unpredicted-by-orders": _unpredicted,
    "undecided": _undecided,
}
