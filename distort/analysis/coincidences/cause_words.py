"""One plain sentence for each cause, and the experiment that would decide it or confirm it."""

from distort.analysis.coincidences.faults import Anomaly, Cause, Evidence

ORDINALS = {2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth", 7: "seventh", 8: "eighth", 9: "ninth"}

PORT_BELOW_HZ = 120.0
"""Ports and the travel of cones are spent below this (common practice, no source)."""

EXPERIMENTS: dict[Cause, str] = {
    "weak-fundamental": "Move the microphone by a hand's breadth: if the dip moves, this must move with it.",
    "response-peak": "Equalise the peak and measure again: the rise must go down with it.",
    "made-here": "Measure close to the driver, and in another set-up: if the rise stays, the loudspeaker makes it.",
    "weak-sum": "Cover the reflecting surface, or turn one of two drivers off: the change must then go back.",
    "own-compression": "Play the short sweep, and a burst after a rest: what stays is a limiter, what goes is heat.",
    "noise": "Play louder, or average several takes, until the order stands 10 dB above its floor.",
    "room": "Measure with a time gate, in the open, or at another place in the room: the dip must go.",
    "undecided": "Measure close to the driver, where no reflection counts: if the rise stays, it is made here.",
}


def quantity_words(quantity: str) -> str:
    """h3 as third harmonic."""
    if quantity.startswith("h") and quantity[1:].isdigit():
        number = int(quantity[1:])
        return f"the {ORDINALS.get(number, f'{number}th')} harmonic"
    return {
        "thd": "total harmonic distortion",
        "multitone_even": "even-order multitone distortion",
        "multitone_odd": "odd-order multitone distortion",
        "compression_sweep": "the output (sweep)",
        "compression_multitone": "the output (multitone)",
    }[quantity]


def hertz_words(frequency_hz: float) -> str:
    """Three digits that count: 31.6 Hz, 1.06 kHz."""
    return f"{frequency_hz:.3g} Hz" if frequency_hz < 999.5 else f"{frequency_hz / 1000.0:.3g} kHz"


def sentence(
    cause: Cause,
    quantity: str,
    evidence: Evidence,
    *,
    frequency_hz: float,
    anomaly: Anomaly | None,
    anomaly_at: int,
    in_room: bool,
    band_hz: tuple[float, float] | None = None,
) -> str:
    """What the numbers say, for a reader without training."""
    place = f"{hertz_words(frequency_hz)}"
    at = f"In this room, at {place}" if in_room and anomaly is not None else f"At {place}"
    if quantity.startswith("compression"):
        return _of_compression(cause, quantity, evidence, at=at, anomaly=anomaly, band_hz=band_hz)
    what = quantity_words(quantity)
    rise = f"{at} {what} rises by {evidence.rise_db:.1f} dB"
    if cause == "noise":
        return (
            f"{rise}, but it stands only {max(evidence.margin_db or 0.0, 0.0):.0f} dB above the noise: "
            f"this may be noise and not distortion."
        )
    if cause in ("weak-fundamental", "room") and anomaly_at == 1:
        why = "because the wanted tone itself is weaker there"
        added = ""
        if (evidence.way_out_db or 0.0) >= 2.0:
            added = f" and the response adds {evidence.way_out_db:.1f} dB where the harmonic is heard"
        rest = f" by {evidence.fundamental_db:.1f} dB{added}; the loudspeaker does not distort more."
        where = (
            " The dip is made by the room: the curve measured elsewhere does not have it." if cause == "room" else ""
        )
        return f"{rise} {why}{rest}{where}"
    if cause in ("response-peak", "room"):
        where = " The curve measured elsewhere does not have that peak." if cause == "room" else ""
        return (
            f"{rise} because it is heard at {hertz_words(anomaly_at * frequency_hz)}, where the response has a peak; "
            f"the loudspeaker does not make more of it.{where}"
        )
    if cause == "made-here":
        made = f"{at} the loudspeaker itself makes {evidence.source_db:.1f} dB more of {what} than to either side"
        return f"{made}{_beside(anomaly, anomaly_at, frequency_hz, evidence)}."
    why = "the data cannot tell why"
    if evidence.margin_db is None:
        why = "its noise floor is not known, so this may be noise and not distortion"
    return f"{rise} near a {anomaly.kind if anomaly else 'rise'} of the response; {why}."


def _beside(anomaly: Anomaly | None, anomaly_at: int, frequency_hz: float, evidence: Evidence) -> str:
    if anomaly is None:
        return "; no dip or peak of the response is near"
    if anomaly_at > 1:
        heard = f"; it is heard at {hertz_words(anomaly_at * frequency_hz)}, where the response has a {anomaly.kind}"
        way_db = evidence.way_out_db or 0.0
        if way_db <= -1.0:
            return f"{heard} that hides {-way_db:.1f} dB of it"
        return f"{heard} that adds {way_db:.1f} dB" if way_db >= 1.0 else heard
    weak_db = evidence.fundamental_db or 0.0
    return f", and the wanted tone is {weak_db:.1f} dB weaker there" if weak_db >= 1.0 else ""


def _who(band_hz: tuple[float, float]) -> str:
    """What does that in such a band (common practice)."""
    if band_hz[1] < PORT_BELOW_HZ:
        return "the loudspeaker itself compresses, as a port or a cone at the end of its travel does"
    return "the loudspeaker itself limits or heats"


def _of_compression(
    cause: Cause,
    quantity: str,
    evidence: Evidence,
    *,
    at: str,
    anomaly: Anomaly | None,
    band_hz: tuple[float, float] | None,
) -> str:
    what = quantity_words(quantity)
    if anomaly is None and band_hz is not None:
        return (
            f"From {hertz_words(band_hz[0])} to {hertz_words(band_hz[1])} {what} lags the drive by up to "
            f"{-evidence.rise_db:.1f} dB: {_who(band_hz)}; no dip or peak is needed for that."
        )
    lags = f"{at} {what} changes by {evidence.rise_db:+.2f} dB more than to either side"
    if cause in ("weak-sum", "room"):
        return (
            f"{lags}: two sounds nearly cancel in the dip, so that a small change of one looks large; "
            f"that explains up to {evidence.bound_db:.2f} dB."
        )
    if cause == "own-compression":
        more = f" more than the {evidence.bound_db:.2f} dB that a dip can feign" if evidence.bound_db else ""
        return f"{lags},{more or ' where the response has a peak'}: the loudspeaker itself compresses here."
    return f"{lags}; the data cannot tell why."
