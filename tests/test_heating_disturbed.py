"""A door that slams in a long heating costs a stretch of it; samples that are lost there end its analysis."""

import numpy as np
import pytest

from distort.analysis.heating.following import powers_of
from distort.analysis.heating.loud_follower import LoudFollower
from distort.analysis.heating.periods import CHUNK_PERIODS
from distort.analysis.heating.places import Place
from distort.analysis.heating.result import heating_level
from distort.errors import AnalysisError
from tests.test_heating import HEATING, RATE, TONE, heard, lost_db, of

LOUD_START = RATE + HEATING.loud_start
CHUNK_SAMPLES = CHUNK_PERIODS * TONE.period_samples


def slam(*, peak: float = 5.0, decay_s: float = 0.1, seed: int = 4) -> np.ndarray:
    """A burst of noise that decays, in a second of its own; the multitone's peaks are below 1."""
    time_s = np.arange(RATE) / RATE
    return peak * np.random.default_rng(seed).standard_normal(RATE) * np.exp(-time_s / decay_s)


def with_slam(recording: np.ndarray, at: int) -> np.ndarray:
    spoilt = recording.copy()
    burst = slam()
    spoilt[at : at + burst.size] += burst
    return spoilt


def in_chunk(number: float) -> int:
    """Sample so many chunks after the start of the loud multitone."""
    return LOUD_START + round(number * CHUNK_SAMPLES)


@pytest.mark.first(1)
@pytest.mark.parametrize("number", [10.99, 10.3], ids=["across the border of two", "inside a chunk"])
def test_a_slam_costs_its_stretch_and_nothing_else(number) -> None:
    recording = with_slam(heard(HEATING), in_chunk(number))
    powers = powers_of(of(recording), HEATING, Place(start=float(RATE)))
    drowned = np.flatnonzero(~np.isfinite(powers.loud).any(axis=1))
    assert 0 < drowned.size <= 2 * CHUNK_PERIODS
    assert drowned[0] >= 10 * CHUNK_PERIODS
    assert drowned[-1] < 12 * CHUNK_PERIODS
    level = heating_level(powers, HEATING, level_db_spl=90.0)
    assert level.left_out_s == drowned.size * TONE.period_s
    true_db = -float(lost_db(HEATING, np.array([HEATING.loud_s]))[0])
    for band in level.bands:  # as without it: noise is 0.005 dB a period
        assert band.course.change_db == pytest.approx(true_db, abs=0.02)
        assert [term.tau_s for term in band.course.terms] == pytest.approx([1.5, 15.0], rel=0.1)
        assert np.isfinite(band.left_db).all()


@pytest.mark.first(1)
@pytest.mark.parametrize("number", [300, 20, 3 * TONE.period_samples // 2])
def test_lost_samples_are_refused(number) -> None:
    first = in_chunk(10.5)
    with pytest.raises(AnalysisError, match="samples were lost"):
        powers_of(of(np.delete(heard(HEATING), np.arange(first, first + number))), HEATING, Place(start=float(RATE)))


def test_samples_that_are_lost_in_a_slam_are_refused_as_well() -> None:
    spoilt = np.delete(with_slam(heard(HEATING), in_chunk(10.3)), np.arange(in_chunk(10.4), in_chunk(10.4) + 3))
    with pytest.raises(AnalysisError, match="samples were lost"):
        powers_of(of(spoilt), HEATING, Place(start=float(RATE)))


@pytest.mark.sample
def test_a_noise_that_lasts_ends_it() -> None:
    recording = heard(HEATING)
    part = of(recording + np.where(np.arange(recording.size) > in_chunk(5.5), 1.0, 0.0) * heard(HEATING, noise=5.0))
    follower = LoudFollower(TONE, Place(start=float(LOUD_START), difference_ppm=0.0))
    for _ in range(5):
        assert follower.read(part, CHUNK_PERIODS) is not None
    assert [follower.read(part, CHUNK_PERIODS) for _ in range(2)] == [None, None]
    assert follower.certain_periods == 5 * CHUNK_PERIODS
    with pytest.raises(AnalysisError):
        follower.read(part, CHUNK_PERIODS)


@pytest.mark.sample
def test_where_it_drowns_the_beginning_nothing_is_told_rather_than_wrong() -> None:
    """Changes are told from there on; third octaves that it leaves alone are read as ever."""
    begins = of(with_slam(heard(HEATING), in_chunk(0.3)))
    level = heating_level(powers_of(begins, HEATING, Place(start=float(RATE))), HEATING, level_db_spl=90.0)
    true_db = -float(lost_db(HEATING, np.array([HEATING.loud_s]))[0])
    changes = np.array([band.course.change_db for band in level.bands])
    assert np.isnan(changes).any()
    assert changes[np.isfinite(changes)] == pytest.approx(true_db, abs=0.02)
