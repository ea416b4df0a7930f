"""What strikes, rubs or blows in a sweep, on sounds written down in closed form: no device, no room, no session."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.impulsive.cycles import PARTS, bands_of, begins_s
from distort.analysis.impulsive.heard import HIGHEST_Z, CyclesHeard, cycles_heard, repeats_at, standing_out, untouched
from distort.analysis.impulsive.impulsive import (
    CONFIRMED,
    NARROW,
    NOTHING,
    ONCE,
    ImpulsiveResult,
    Listening,
    _looked_at,
    _middle,
    alarmed,
    impulsive,
    kind_of,
)
from distort.analysis.impulsive.regularity import UNKNOWN, Repeats
from distort.analysis.impulsive.residual import as_recorded
from distort.analysis.sweep.beyond import BEYOND_ORDER, EDGE, beyond_orders
from distort.analysis.sweep.deconvolution import deconvolve
from distort.analysis.sweep.noise import noise_density
from distort.session.results.impulsive_table import impulsive_columns, impulsive_of_columns
from signals import Sweep

RATE = 32000
SWEEP = Sweep(start_hz=20.0, full_level_hz=25.0, stop_hz=14000.0, seconds=4.0, sample_rate=RATE, drive_dbfs=-20.0)
"""L = 0.61 s: a sixth octave at 100 Hz has seven cycles."""

SHORT = replace(SWEEP, seconds=2.0)
QUIET = RATE // 2
FLOOR = 1e-4


def noise(seed: int, size: int) -> np.ndarray:
    return FLOOR * np.random.default_rng(seed).standard_normal(size)


def recording(sweep: Sweep = SWEEP, *, seed: int = 1, orders: int = 10, made: np.ndarray | None = None) -> np.ndarray:
    """Half a second of silence, the sweep with orders 2 to `orders` 40 dB down each, `made` on top, and a second."""
    time_s = np.arange(sweep.n_samples) / RATE
    phase = 2.0 * np.pi * sweep.start_hz * sweep.rate_s * np.expm1(time_s / sweep.rate_s)
    sweep_hz = sweep.start_hz * np.exp(time_s / sweep.rate_s)
    sound = sweep.samples()
    for n in range(2, orders + 1):
        heard = np.clip((0.45 * RATE - n * sweep_hz) / 2000.0, 0.0, 1.0)
        sound += 1e-3 * sweep.envelope(sweep_hz) * heard * np.sin(n * phase)
    if made is not None:
        sound += made
    return np.pad(sound, (QUIET, RATE)) + noise(seed, QUIET + sweep.n_samples + RATE)


def heard(samples: np.ndarray, sweep: Sweep = SWEEP) -> CyclesHeard:
    beyond = beyond_orders(deconvolve(samples, sweep, start=float(QUIET)))
    return cycles_heard(beyond, noise_density([samples[:QUIET]], sample_rate=RATE))


def z_of(found: CyclesHeard) -> np.ndarray:
    return standing_out(found, np.ones(found.powers.shape[0], dtype=bool))


def struck(
    sweep: Sweep = SWEEP, *, low_hz: float = 80.0, high_hz: float = 140.0, seed: int | None = None, level: float = 2e-3
) -> np.ndarray:
    """A strike at phase 0.3 of every cycle between two frequencies; with a seed each is of random strength, and some
    fail."""
    first, last = (int(sweep.rate_s * (hz - sweep.start_hz)) for hz in (low_hz, high_hz))
    made = np.zeros(sweep.n_samples)
    random = np.random.default_rng(seed)
    for cycle in range(first, last):
        begin_s = float(begins_s(sweep, cycle + 0.3))
        at = int(np.ceil(begin_s * RATE))
        ring_s = (at + np.arange(RATE // 100)) / RATE - begin_s
        ring = np.sin(2.0 * np.pi * 4000.0 * ring_s) * np.exp(-ring_s / 1e-3)
        strength = level if seed is None else level * random.exponential() * (random.random() > 0.3)
        made[at : at + ring.size] += strength * ring
    return made


def blown(sweep: Sweep = SWEEP, *, seed: int = 5) -> np.ndarray:
    """Noise whose strength follows the square of the velocity in each cycle, about 100 Hz."""
    time_s = np.arange(sweep.n_samples) / RATE
    phase = 2.0 * np.pi * sweep.start_hz * sweep.rate_s * np.expm1(time_s / sweep.rate_s)
    octaves = np.log2(sweep.start_hz * np.exp(time_s / sweep.rate_s) / 100.0)
    strength = 5e-4 * np.exp(-0.5 * (octaves / 0.4) ** 2) * np.sin(phase) ** 2
    return strength * np.random.default_rng(seed).standard_normal(time_s.size)


def test_cycles_begin_where_the_phase_says() -> None:
    """The phase in turns, f1 L (exp(t / L) - 1), is k where cycle k begins; and the frequency there is f1 + k / L."""
    cycles = np.array([0.0, 3.0, 17.5, 120.0])
    time_s = begins_s(SWEEP, cycles)
    turns = SWEEP.start_hz * SWEEP.rate_s * np.expm1(time_s / SWEEP.rate_s)
    np.testing.assert_allclose(turns, cycles, atol=1e-9)  # rounding
    bands = bands_of(SWEEP)
    first_hz = SWEEP.start_hz + bands.first / SWEEP.rate_s
    assert np.all(first_hz >= bands.frequency_hz * 10.0 ** (-1.0 / 40.0) - 1e-9)
    assert np.all(np.diff(bands.first) > 0)


def test_what_follows_the_sweep_lets_through_what_lies_beyond() -> None:
    """Order 12 comes out as it went in, orders to 10 do not at all: the edge is from 10.5 to 11.3."""
    time_s = np.arange(SWEEP.n_samples) / RATE
    phase = 2.0 * np.pi * SWEEP.start_hz * SWEEP.rate_s * np.expm1(time_s / SWEEP.rate_s)
    sweep_hz = SWEEP.start_hz * np.exp(time_s / SWEEP.rate_s)
    gentle = SWEEP.envelope(sweep_hz) * np.clip((13000.0 - 12.0 * sweep_hz) / 2000.0, 0.0, 1.0)
    order_12 = 1e-2 * gentle * np.sin(12.0 * phase)
    assert BEYOND_ORDER * EDGE < 12.0
    for made, orders in ((order_12, 1), (np.zeros(time_s.size), 10)):
        residual = as_recorded(beyond_orders(deconvolve(recording(orders=orders, made=made), SWEEP, start=QUIET)))
        first = round(residual.first_s * RATE)
        looked = slice(
            round(float(SWEEP.time_s(80.0)) * RATE) - first, round(float(SWEEP.time_s(300.0)) * RATE) - first
        )
        there, left = made[first:][looked], residual.samples[looked]
        # the noise beyond the orders, 1e-4 over less than the whole band, is what is left besides
        assert np.sqrt(np.mean((left - there) ** 2)) < 1.1 * FLOOR


def test_noise_stands_out_nowhere_and_z_is_a_normal_deviate() -> None:
    """The mean power of a part over nu degrees of freedom has the variance 2 / nu re its square, so that before the
    largest of 24 is taken z has the deviation 1: the largest lies between 1 and 3.5 in nearly every band."""
    z = np.concatenate([z_of(heard(recording(seed=seed))) for seed in range(2)])
    assert not any(alarmed(each).any() for each in (z,))
    assert 1.2 < np.median(z) < 2.8


def test_beside_no_noise_at_all_z_is_a_number_that_a_table_holds() -> None:
    found = heard(recording())
    silent = np.zeros_like(found.powers)
    silent[:, 0] = 1.0
    z = standing_out(replace(found, powers=silent), np.ones(silent.shape[0], dtype=bool))
    assert np.nanmax(z) == HIGHEST_Z


@pytest.mark.parametrize(
    ("made", "kind"),
    [
        (struck, "rub"),
        (lambda sweep: struck(sweep, seed=3), "rattle"),
        (lambda sweep: blown(sweep, seed=int(sweep.seconds)), "airflow-noise"),
    ],
)
def test_each_kind_is_told(made, kind) -> None:
    result = told(made(SWEEP), made(SHORT))
    assert [place.kind for place in result.places] == [kind]
    (place,) = result.places
    assert place.low_hz < 110.0 < place.high_hz
    assert 70.0 < place.frequency_hz < 150.0
    again = impulsive_of_columns(impulsive_columns(result))
    assert again.places == result.places


def told(
    first: np.ndarray | None, second: np.ndarray | None, *, foreign_s: tuple[tuple[float, float], ...] = ()
) -> ImpulsiveResult:
    return impulsive(
        [
            Listening(level_db_spl=96.0, heard=heard(recording(made=first)), foreign_s=foreign_s),
            Listening(level_db_spl=96.0, heard=heard(recording(SHORT, seed=2, made=second), SHORT), short=True),
        ]
    )


def test_one_recording_alone_is_no_finding_and_a_foreign_sound_none_at_all() -> None:
    strikes = struck(seed=3)
    (level,) = told(strikes, None).levels
    assert set(level.alarm) == {NOTHING, ONCE}
    assert not told(strikes, None).places
    when = (float(SWEEP.time_s(75.0)), float(SWEEP.time_s(145.0)))
    (level,) = told(strikes, None, foreign_s=(when,)).levels
    assert set(level.alarm) == {NOTHING}
    (level,) = told(None, None).levels
    assert set(level.alarm) == {NOTHING}


def test_strikes_differ_and_a_buzz_does_not() -> None:
    """All strikes alike: G near 1, and a level that differs by less than noise would. Exponential strengths: the cycles
    of a stretch have nothing in common but the ring."""
    alike, differing = (heard(recording(made=struck(seed=seed))) for seed in (None, 3))
    band = int(np.argmax(z_of(alike)))
    found = [repeats_at(each, np.ones(each.powers.shape[0], dtype=bool), band) for each in (alike, differing)]
    assert found[0].regularity > 0.8
    assert found[0].unevenness < 2.0
    assert found[1].regularity < 0.47
    assert found[1].unevenness > 10.0
    assert all(one.spread > 0.5 for one in found)  # 4 kHz is two octaves above 10.5 times 100 Hz


def test_orders_beyond_the_tenth_are_not_sharp() -> None:
    """Orders to 14: regular, all of it within 14 / 10.5 = 0.4 octaves."""
    result = impulsive(
        [
            Listening(level_db_spl=96.0, heard=heard(recording(seed=seed, orders=14)))
            for seed in (1, 2)  # two takes
        ]
    )
    assert {place.kind for place in result.places} == {"high-orders"}


@pytest.mark.parametrize(
    ("regularity", "unevenness", "spread", "kind"),
    [
        (0.61, 6.6, 0.5, "rub"),
        (0.59, 6.6, 0.5, "undecided"),
        (0.48, 6.6, 0.5, "undecided"),
        (0.46, 6.6, 0.5, "rattle"),
        (0.46, 6.4, 0.5, "rub"),
        (0.46, 6.4, 0.24, "high-orders"),
        (0.21, 6.4, 0.26, "rub"),
        (0.19, 6.4, 0.5, "airflow-noise"),
        (np.nan, 6.4, 0.5, "undecided"),
    ],
)
def test_edges_between_the_kinds(regularity, unevenness, spread, kind) -> None:
    assert kind_of(Repeats(regularity, unevenness, spread)) == kind


@pytest.mark.parametrize(
    ("z", "bands"), [([6.1, 0, 0], [0]), ([5.9, 0, 0], []), ([0, 4.1, 4.1], [1, 2]), ([4.1, 0, 4.1], [])]
)
def test_edges_of_the_alarm(z, bands) -> None:
    assert np.flatnonzero(alarmed(np.array(z, dtype=float))).tolist() == bands
    assert np.flatnonzero(alarmed(np.array([np.nan, *z]))).tolist() == [band + 1 for band in bands]


def test_cycles_beside_a_foreign_sound_are_left_out() -> None:
    found = heard(recording())
    kept = untouched(found, [(1.0, 1.2)])
    time_s = begins_s(SWEEP, found.first + np.arange(kept.size + 1))
    out = ~kept
    assert np.all(time_s[:-1][out] < 1.2 + 0.15)
    assert np.all(time_s[1:][out] > 1.0 - 0.15)
    assert out.sum() >= 10
    assert found.powers.shape[1] == PARTS
    assert CONFIRMED > ONCE


def behaving(regularity: float, unevenness: float, spread: float = 1.0) -> Repeats:
    return Repeats(regularity, unevenness, spread)


def test_a_narrow_place_is_judged_by_its_clearest_band_and_a_wide_one_by_five_from_all_over_it() -> None:
    assert _looked_at(3, 3 + NARROW, 5) == [5]
    assert _looked_at(3, 3 + NARROW + 1, 5) == [3, 4, 5, 6, 7]
    assert _looked_at(0, 25, 2) == [0, 6, 12, 18, 24]
    bands = [
        behaving(0.4, 50.0),
        behaving(0.45, 20.0),
        behaving(0.5, 2.0, 0.4),
        behaving(0.55, 1.0),
        behaving(0.6, 1.0),
    ]
    assert _middle(bands) == Repeats(0.5, 2.0, 1.0)
    assert kind_of(_middle(bands)) == "rub"
    assert kind_of(bands[0]) == "rattle"
    assert _middle([UNKNOWN, behaving(0.1, 1.0)]) == behaving(0.1, 1.0)
    assert np.isnan(_middle([UNKNOWN]).regularity)
