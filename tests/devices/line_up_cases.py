"""Random devices for each cause of a coincidence, from the blocks of `line_ups`. None is redrawn.

Ripple has a standard deviation of 0.3 to 1.5 dB, partly before and partly after the non-linearity; features are as
shallow as 5 dB. The place lies between 150 Hz and 2.5 kHz.
"""

import numpy as np

from tests.devices.line_ups import ROWS_HZ, Blocks, Case, FloatArray, bell_db, comb_db, ripple

DISTORTION = ("weak-fundamental", "response-peak", "made-here", "noise", "room")
COMPRESSION = ("weak-sum", "own-compression")
NOTHING = "nothing"
CAUSES = (*DISTORTION, *COMPRESSION)

SEEDS = {"tuning": 7, "report": 1007}
"""First number of the seeds: constants were chosen on the one, results are stated on the other."""


def case(cause: str, seed: int, *, which: str = "report") -> Case:
    """One device with that cause, or with nothing."""
    random = np.random.default_rng([SEEDS[which], seed, sum(map(ord, cause))])
    if cause in COMPRESSION or (cause == NOTHING and seed % 4 == 3):
        return _compression(cause, random)
    return _distortion(cause, random)


def _distortion(cause: str, random: np.random.Generator) -> Case:
    blocks = Blocks(random)
    order = int(random.integers(2, 6))
    place_hz = float(np.exp(random.uniform(np.log(150.0), np.log(2500.0))))
    margin_db = random.uniform(-15.0, 6.0) if cause == "noise" else random.uniform(15.0, 35.0)
    f = blocks.f
    free_field = blocks.fundamental_db()
    if cause in ("weak-fundamental", "noise", "room"):
        order = _dip(blocks, random, place_hz, order)
    elif cause == "response-peak":
        place_hz = min(place_hz, 8000.0 / order)
        blocks.shared = True
        gain_db = random.uniform(5.0, 12.0)
        blocks.after = blocks.after + bell_db(f, centre_hz=order * place_hz, q=random.uniform(2, 8), gain_db=gain_db)
    elif cause == "made-here":
        place_hz = min(place_hz, 8000.0 / order)
        _made_here(blocks, random, place_hz, order)
    else:
        _nothing(blocks, random, place_hz, order)
    readings = blocks.read(order, relative_db=random.uniform(-60.0, -30.0), margin_db=margin_db, place_hz=place_hz)
    return Case(
        cause=cause,
        place_hz=place_hz,
        order=order,
        readings=(readings,),
        free_field_db=blocks.at(free_field, ROWS_HZ) if cause == "room" else None,
    )


def _dip(blocks: Blocks, random: np.random.Generator, place_hz: float, order: int) -> int:
    """A dip of the fundamental that the product does not share; gives the order that goes with it."""
    kind = random.integers(3)
    if kind == 2:
        dip = bell_db(blocks.f, centre_hz=place_hz, q=random.uniform(2.0, 8.0), gain_db=-random.uniform(6.0, 15.0))
        blocks.after = blocks.after + dip
        return order
    blocks.after = blocks.after + comb_db(blocks.f, first_dip_hz=place_hz, reflection=random.uniform(0.5, 0.9))
    blocks.shared = bool(kind == 1)
    # by the same way an odd multiple of the dip is a dip again, and there is no rise: even orders only
    return int(random.choice([2, 4])) if blocks.shared else order


def _made_here(blocks: Blocks, random: np.random.Generator, place_hz: float, order: int) -> None:
    f, kind = blocks.f, random.integers(3)

    def bell(centre_hz: float, gain_db: float) -> FloatArray:
        return bell_db(f, centre_hz=centre_hz, q=random.uniform(2.0, 6.0), gain_db=gain_db)

    if kind == 0:  # a resonance before the non-linearity drives it harder
        blocks.before = blocks.before + bell(place_hz, random.uniform(4.0, 10.0))
    elif kind == 1:  # the source makes more, at a dip
        blocks.after = blocks.after + bell(place_hz, -random.uniform(5.0, 12.0))
        blocks.source[order] = bell(place_hz, random.uniform(6.0, 15.0))
    else:  # the source makes more, and the product meets a dip
        blocks.shared = True
        depth_db = random.uniform(5.0, 10.0)
        blocks.after = blocks.after + bell(order * place_hz, -depth_db)
        blocks.source[order] = bell(place_hz, depth_db + random.uniform(4.0, 10.0))


def _nothing(blocks: Blocks, random: np.random.Generator, place_hz: float, order: int) -> None:
    """Ripple alone; a dip before the non-linearity, at which distortion falls; or a source that makes less."""
    kind = random.integers(3)
    if kind == 1:
        gain_db = -random.uniform(5.0, 12.0)
        blocks.before = blocks.before + bell_db(blocks.f, centre_hz=place_hz, q=random.uniform(2, 8), gain_db=gain_db)
    elif kind == 2:
        blocks.source[order] = bell_db(blocks.f, centre_hz=place_hz, q=3.0, gain_db=-random.uniform(4.0, 10.0))


def _compression(cause: str, random: np.random.Generator) -> Case:
    """Two paths of which one changes by a little; or a narrow change of its own at the dip; or neither."""
    blocks = Blocks(random)
    place_hz = float(np.exp(random.uniform(np.log(150.0), np.log(2500.0))))
    f, reflection = blocks.f, random.uniform(0.5, 0.9)
    turn = reflection * np.exp(-1j * np.pi * f / place_hz)
    broad = -np.abs(ripple(random, f, deviation_db=random.uniform(0.05, 0.5), octaves=4.0))
    quiet, loud = 1.0 + turn, 1.0 + turn
    if cause == "weak-sum":
        less = 10.0 ** (-random.uniform(0.15, 1.0) / 20.0)
        loud = less + turn if random.integers(2) else 1.0 + less * turn
    change = _smoothed_db(loud) - _smoothed_db(quiet) + broad
    if cause == "own-compression":
        depth = (1.0 + reflection) / (1.0 - reflection)
        at_peak = float(np.abs(blocks.at(broad, np.array([2.0 * place_hz]))[0]))
        own_db = 1.25 * at_peak * depth + random.uniform(0.5, 3.0)  # beyond what the sum of two paths explains
        change = change - own_db * np.exp(-0.5 * np.square(np.log2(f / place_hz) / random.uniform(0.08, 0.25)))
    blocks.after = blocks.after + comb_db(f, first_dip_hz=place_hz, reflection=reflection)
    sigma_db = random.uniform(0.005, 0.05)
    noise = ripple(random, ROWS_HZ, deviation_db=sigma_db, octaves=1.0 / 12.0)
    readings = blocks.read(2, relative_db=-50.0, margin_db=25.0, place_hz=place_hz)
    return Case(
        cause=cause,
        place_hz=place_hz,
        order=2,
        readings=(readings,),
        change_db=blocks.at(change, ROWS_HZ) + noise,
        change_uncertainty_db=np.full(ROWS_HZ.size, 1.96 * sigma_db),
    )


def _smoothed_db(amplitude: np.ndarray) -> FloatArray:
    """Power over 1/12 octave, dB."""
    kernel = np.ones(17) / 17.0
    padded = np.pad(np.abs(amplitude) ** 2, 8, mode="edge")
    return np.asarray(10.0 * np.log10(np.convolve(padded, kernel, "valid")))
