"""Noise that comes with level, on multitones written down in closed form with noise of known power on top."""

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.level_noise import HeardAt, NoiseLevel, NoiseResult, noise_with_level
from distort.analysis.multitone.between import NoiseHeard, mean_heard
from distort.analysis.multitone.reading import MultitoneReadings, MultitoneTake, read_multitone
from distort.analysis.sweep.sweeps import Reference
from distort.session.results.noise_table import noise_columns, noise_of_columns
from signals import Multitone
from signals.levels import power_to_db
from tests.devices.multitones import recorded

RATE = 8000
TONE = Multitone(sample_rate=RATE, low_hz=50.0, high_hz=3000.0, period_s=1.0, periods=16, drive_dbfs=-20.0)
QUIET = 1e-5
"""r.m.s. of the noise in silence, full scale 1."""

SILENCE_S = 4.0
SPL = Reference(offset_db=120.0, unit="db_spl")


def white(seed: int, size: int) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(size)


@cache
def played(curve: Callable[[np.ndarray], np.ndarray] | None) -> MultitoneTake:
    return recorded(TONE) if curve is None else recorded(TONE, curve=curve)


def take(*, added: float = 0.0, seed: int = 1, curve=None, silence=None) -> MultitoneTake:
    """The multitone in noise of r.m.s. `QUIET`, white noise of r.m.s. `added` on top while it plays, and two
    silences."""
    made = played(curve)
    size = made.samples.size
    samples = made.samples + QUIET * white(seed, size) + added * white(seed + 1000, size)
    quiet = [QUIET * white(seed + 2000 + n, round(SILENCE_S * RATE)) for n in range(2)]
    return replace(made, samples=samples, silences=tuple(quiet) if silence is None else silence)


def read(**kind) -> MultitoneReadings:
    return read_multitone(take(**kind), TONE)


def at(level_db: float, heard: NoiseHeard | None, *, drive_db: float | None = None) -> HeardAt:
    assert heard is not None
    return HeardAt(
        level_db_spl=level_db, drive_db=level_db if drive_db is None else drive_db, heard=heard, reference=SPL
    )


def white_db(rms: float, frequency_hz: np.ndarray) -> np.ndarray:
    """Of white noise in each third octave, dB re a full-scale sine (AES17) and 120 dB more: its power is spread evenly
    to half the rate, and a third octave is `10^0.05 - 10^-0.05` of its middle wide (IEC 61260-1)."""
    width_hz = frequency_hz * (10.0**0.05 - 10.0**-0.05)
    return np.asarray(10.0 * np.log10(2.0 * rms**2 * width_hz / (RATE / 2.0)) + 120.0)


def heard_of(sounding: float, silences: tuple[float, ...], *, freedom: float = 1000.0, bands: int = 9) -> NoiseHeard:
    """The same power in every band."""
    return NoiseHeard(
        frequency_hz=np.geomspace(100.0, 10000.0, bands),
        sounding=np.full(bands, sounding),
        sounding_freedom=np.full(bands, freedom),
        silences=np.outer(silences, np.ones(bands)),
        silence_freedom=np.full(bands, freedom),
    )


def test_noise_of_known_level_is_told_with_its_growth() -> None:
    """Three levels 5 dB apart whose added noise grows by 15 dB each, from 10 dB above the silence's on. The level holds
    within 0.5 dB from 400 Hz on, where a reading has 600 degrees of freedom: 4.34 sqrt(2 / 600) = 0.25 dB, and twice
    that. The slope holds within 0.1: 0.25 sqrt(2) / 10."""
    added = [QUIET * 10.0 ** ((10.0 + 15.0 * step) / 20.0) for step in range(3)]
    result = noise_with_level([at(80.0 + 5.0 * n, read(added=rms, seed=n).noise) for n, rms in enumerate(added)])
    hz = result.frequency_hz
    judged = (hz > 350.0) & (hz < 2600.0)
    for rms, level in zip(added, result.levels, strict=True):
        error_db = np.abs(level.noise_db - white_db(rms, hz))[judged]
        assert np.max(error_db) < 0.5
        assert np.mean(error_db < level.uncertainty_db[judged]) > 0.8
    np.testing.assert_allclose(result.silence_db[judged], white_db(QUIET, hz)[judged], atol=0.5)
    np.testing.assert_allclose(result.growth_db_per_db[judged], 3.0, atol=0.1)
    assert len(result.growing) == 1
    assert result.growing[0].as_air
    assert result.growing[0].growth_db_per_db == pytest.approx(3.0, abs=0.05)  # a mean of bands, each within 0.1


def test_distortion_is_not_noise_even_while_it_drifts() -> None:
    """A cubic curve, -30 dB, whose input sinks by 0.3 dB with a time constant of 5 s: all of it is distortion, and the
    blocks scatter by it."""

    def warming(x: np.ndarray) -> np.ndarray:
        driven = x * (1.0 - 0.034 * (1.0 - np.exp(-np.arange(x.size) / (5.0 * RATE))))
        return np.asarray(driven + 3.0 * driven**3)

    found = read(curve=warming)
    result = noise_with_level([at(90.0, found.noise)])
    with np.errstate(invalid="ignore"):
        scatter_db = power_to_db(2.0 * found.bands.noise) + 120.0
        assert np.nanmax(scatter_db - white_db(QUIET, result.frequency_hz)) > 10.0
    assert np.count_nonzero(np.isfinite(result.levels[0].noise_db)) == 0
    assert result.growing == ()


def test_hum_is_neither_in_the_silence_nor_comes_with_level() -> None:
    """A tone of 200.3 Hz and 40 dB above the noise, in silence and while it plays."""
    made = take()

    def humming(samples: np.ndarray) -> np.ndarray:
        return np.asarray(samples + 1e-3 * np.sin(2.0 * np.pi * 200.3 * np.arange(samples.size) / RATE))

    with_hum = replace(made, samples=humming(made.samples), silences=tuple(humming(each) for each in made.silences))
    result = noise_with_level([at(90.0, read_multitone(with_hum, TONE).noise)])
    band = int(np.argmin(np.abs(result.frequency_hz - 200.0)))
    assert np.isnan(result.levels[0].noise_db[band])
    # 42 readings in the silence's band: 4.34 sqrt(2 / 42) = 0.9 dB, and twice that
    assert result.silence_db[band] == pytest.approx(white_db(QUIET, result.frequency_hz)[band], abs=1.9)


def test_the_microphones_response_is_out_of_it_and_nothing_is_known_beyond_it() -> None:
    response = MicrophoneResponse(frequency_hz=np.array([100.0, 2000.0]), level_db=np.array([6.0, 6.0]))
    plain = read(added=10.0 * QUIET).noise
    less = read_multitone(take(added=10.0 * QUIET), TONE, response).noise
    assert plain is not None
    assert less is not None
    inside = (less.frequency_hz > 110.0) & (less.frequency_hz < 1990.0)
    np.testing.assert_allclose(less.sounding[inside], plain.sounding[inside] * 10.0**-0.6, rtol=1e-9)
    np.testing.assert_allclose(less.silences[:, inside], plain.silences[:, inside] * 10.0**-0.6, rtol=1e-9)
    assert np.all(np.isnan(less.sounding[less.frequency_hz > 2010.0]))


def test_without_a_silence_nothing_is_told() -> None:
    assert read(silence=()).noise is None
    assert mean_heard([read().noise, None]) is None
    assert mean_heard([]) is None


def test_silences_scatter_as_their_degrees_of_freedom_say() -> None:
    """Of 60 silences the variance of a band's power re its square is 2 / n; over some 15 bands it is known within
    sqrt(2 / 60 / 15) = 5 %, and three times that is allowed."""
    heard = read(silence=tuple(QUIET * white(seed, 2 * RATE) for seed in range(60))).noise
    assert heard is not None
    judged = (heard.frequency_hz > 90.0) & (heard.frequency_hz < 2600.0)
    scatter = np.var(heard.silences / heard.silent, axis=0, ddof=1)
    assert np.mean((scatter * heard.silence_freedom / 2.0)[judged]) == pytest.approx(1.0, abs=0.15)


def test_takes_are_averaged() -> None:
    together = mean_heard([heard_of(2.0, (1.0,)), heard_of(4.0, (3.0, 5.0))])
    assert together is not None
    assert (together.sounding[0], together.sounding_freedom[0]) == (3.0, 2000.0)
    assert together.silences[:, 0].tolist() == [1.0, 3.0, 5.0]


def test_noise_is_told_where_chance_would_pass_its_floor_once_in_two_thousand() -> None:
    """Powers of noise drawn from the chi-square distribution, 40 degrees of freedom while it sounds and twice 40 of
    silence: of 20,000 readings 10 are expected above the floor, and by Poisson fewer than 3 or more than 21 once in
    300."""
    random = np.random.default_rng(7)
    draws = random.chisquare(40.0, (3, 20000)) / 40.0
    drawn = replace(heard_of(1.0, (1.0, 1.0), freedom=40.0, bands=20000), sounding=draws[0], silences=draws[1:])
    calm = replace(drawn, silences=np.tile(np.mean(draws[1:], axis=0), (2, 1)))  # unrest is another matter
    passed = np.count_nonzero(np.isfinite(noise_with_level([at(90.0, calm)]).levels[0].noise_db))
    assert 3 <= passed <= 21


def test_a_restless_room_raises_the_floor() -> None:
    """Silences of 0.5 and 1.5 differ by w^2 = 0.5, so the floor is 3.3 sqrt(0.5 x 1.5) = 2.9 of their mean."""
    assert np.isfinite(noise_with_level([at(90.0, heard_of(3.5, (1.0, 1.0)))]).levels[0].noise_db).all()
    assert np.isnan(noise_with_level([at(90.0, heard_of(3.5, (0.5, 1.5)))]).levels[0].noise_db).all()


def test_growth_is_judged_from_two_levels_whose_drive_is_known() -> None:
    one, two, three = (heard_of(1.0 + power, (1.0, 1.0)) for power in (1.0, 100.0, 10000.0))
    silent = heard_of(1.0, (1.0, 1.0))
    assert np.isnan(noise_with_level([at(80.0, silent), at(90.0, two)]).growth_db_per_db).all()
    assert np.isnan(noise_with_level([at(80.0, one), at(90.0, two, drive_db=math.nan)]).growth_db_per_db).all()
    assert np.isnan(noise_with_level([at(80.0, one), at(80.0, two)]).growth_db_per_db).all()
    both = noise_with_level([at(80.0, silent), at(85.0, one), at(95.0, two)])
    np.testing.assert_allclose(both.growth_db_per_db, 2.0, atol=1e-6)
    straight = noise_with_level([at(80.0, one), at(90.0, two), at(100.0, three)])
    bent = noise_with_level([at(80.0, one), at(90.0, two), at(98.0, three)])
    assert np.all(bent.growth_uncertainty_db_per_db > 3.0 * straight.growth_uncertainty_db_per_db)


def result_of(growth: list[float], *, first_hz: float = 250.0, uncertainty: float = 0.2) -> NoiseResult:
    bands = len(growth)
    level = NoiseLevel(
        level_db_spl=96.0,
        noise_db=np.linspace(30.0, 31.0, bands),
        floor_db=np.full(bands, 10.0),
        uncertainty_db=np.full(bands, 0.3),
    )
    return NoiseResult(
        frequency_hz=first_hz * 10.0 ** (np.arange(bands) / 10.0),
        unit="db_spl",
        silence_db=np.full(bands, 5.0),
        growth_db_per_db=np.array(growth),
        growth_uncertainty_db_per_db=np.full(bands, uncertainty),
        levels=(replace(level, level_db_spl=91.0), level),
    )


def test_neighbours_that_surely_grow_are_one_stretch() -> None:
    growing = result_of([0.1, 3.0, math.nan, 2.0, 3.0, 0.1]).growing
    assert [(round(one.low_hz), round(one.high_hz)) for one in growing] == [(499, 628)]
    assert growing[0].growth_db_per_db == pytest.approx(2.5)
    assert growing[0].loudest_hz == pytest.approx(628.0, abs=1.0)


@pytest.mark.parametrize(
    ("growth", "first_hz", "air"), [(1.75, 250.0, True), (1.65, 250.0, False), (3.0, 60.0, False), (3.0, 85.0, True)]
)
def test_as_air_is_what_grows_faster_than_the_sound_where_ports_sound(growth, first_hz, air) -> None:
    """Two bands each: 60 and 76 Hz, 85 and 107 Hz."""
    assert [one.as_air for one in result_of([growth, growth], first_hz=first_hz).growing] == [air]


@pytest.mark.parametrize("unit", ["db_spl", "dbfs"])
def test_the_table_gives_the_result_again(unit) -> None:
    result = replace(result_of([1.0, 2.0]), unit=unit)
    again = noise_of_columns(dict(noise_columns(result)))
    assert again.unit == unit
    assert [one.level_db_spl for one in again.levels] == [91.0, 96.0]
    np.testing.assert_array_equal(again.levels[1].floor_db, result.levels[1].floor_db)
    np.testing.assert_array_equal(again.growth_db_per_db, result.growth_db_per_db)
