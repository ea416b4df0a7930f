"""Music against its quiet recording, and what of it is heard: formulas in closed form, and where they turn."""

import numpy as np
import pytest

from distort.analysis import heard, programme
from distort.analysis.hearing.over_masked import OverMasked, margins_of_moments_db, over_masked
from distort.analysis.programme import less, most_of_moments_db, moving_gain

RATE = 8000
BANDS_HZ = 1000.0 * 10.0 ** (np.arange(-6, 5) / 10.0)


def over(over_db) -> OverMasked:
    values = np.asarray(over_db, dtype=float)
    return OverMasked(
        frequency_hz=BANDS_HZ[: values.shape[0]],
        time_s=0.05 * np.arange(1, values.shape[1] + 1),
        music_db=values,
        remainder_db=values,
        over_db=values,
    )


def test_noise_has_its_power_in_every_third_octave_and_frame() -> None:
    """White noise of mean square m has m w / (rate / 2) in a band of w Hz, and full scale (AES17) is a power of 1/2. In
    T seconds a band holds w T independent values of two degrees of freedom, so that the mean of its power scatters by
    1 / sqrt(w T): three times that is allowed."""
    seconds, rms = 8.0, 0.1
    noise = rms * np.random.default_rng(11).standard_normal(round(seconds * RATE))
    found = over_masked(
        np.zeros(noise.size),
        noise,
        sample_rate=RATE,
        bands_hz=BANDS_HZ,
        noise_power=np.full(BANDS_HZ.size, np.nan),
        full_scale_db_spl=None,
    )
    width_hz = BANDS_HZ * (10.0**0.05 - 10.0**-0.05)
    mean = np.mean(10.0 ** (found.remainder_db / 10.0), axis=1)
    expected = 2.0 * rms**2 * width_hz / (RATE / 2.0)
    allowed = 3.0 / np.sqrt(width_hz * seconds)
    assert np.all(np.abs(mean / expected - 1.0) < allowed)
    assert np.mean(mean / expected) == pytest.approx(1.0, abs=3.0 / np.sqrt(np.sum(width_hz) * seconds))
    np.testing.assert_allclose(found.time_s[:2], [0.05, 0.1])  # the middles of frames of 0.1 s
    assert found.time_s.size == round(seconds / 0.05) - 1


def test_what_stands_above_is_told_with_place_and_moment() -> None:
    found = over([[-1.0, np.nan, 0.0, -2.0], [-3.0, 4.0, np.nan, 0.0]])
    assert found.share_above == 0.25  # nought is not above
    assert found.highest == (4.0, BANDS_HZ[1], pytest.approx(0.1))
    assert over([[np.nan, np.nan]]).share_above == 0.0
    assert over([[np.nan, np.nan]]).highest[0] == -np.inf


def test_what_is_no_stronger_than_noise_is_not_judged() -> None:
    """Of one band at one moment: masked is 5.5 dB under the music (Johnston 1988), and where nobody knows a sound
    pressure there is no threshold of hearing."""
    given = {"bands_hz": BANDS_HZ[:1], "full_scale_db_spl": None}
    music = np.array([[1e-3]])
    for noise, known in ((1e-7, True), (1.01e-6, False), (np.nan, True)):
        both = margins_of_moments_db(music, np.array([[1e-6]]), noise_power=np.array([noise]), **given)
        for margin in both:
            assert np.isfinite(margin[0, 0]) == known
            if known:
                assert margin[0, 0] == pytest.approx(-30.0 + 5.5)
    nothing = margins_of_moments_db(music, np.zeros((1, 1)), noise_power=np.array([0.0]), **given)
    assert np.isnan(nothing[0][0, 0])


@pytest.mark.parametrize(("moments", "place"), [(101, 95), (21, 19), (20, 18), (2, 0), (1, 0)])
def test_most_of_the_moments_is_what_a_twentieth_passes(moments, place) -> None:
    """Of 101 moments the 96th in order: five pass it."""
    margin_db = np.random.default_rng(3).permuted(np.tile(np.arange(float(moments)), (2, 1)), axis=1)
    assert most_of_moments_db(margin_db).tolist() == [place, place]


def test_moments_that_noise_hides_are_the_least() -> None:
    margin_db = np.full((2, 101), np.nan)
    margin_db[0, :5], margin_db[1, :6] = 7.0, 7.0
    found = most_of_moments_db(margin_db)
    assert np.isnan(found[0])
    assert found[1] == 7.0


def test_a_power_without_its_noise_is_never_under_a_thousandth_of_it() -> None:
    assert less(5.0, 2.0) == 3.0
    assert less(5.0, np.nan) == 5.0
    assert less(2.0, 2.0) == pytest.approx(2e-3)
    assert less(2.0015, 2.0) == pytest.approx(2e-3)
    assert less(2.003, 2.0) == pytest.approx(3e-3)


def test_moments_have_the_mean_square_of_their_tenth_of_a_second() -> None:
    """An envelope of 1 for 0.25 s and 3 after it: 1, 1, half of each, 9."""
    points = np.where(np.arange(400) < 250, 1.0, 3.0).astype(complex)
    found = programme._of_moments(points, 0.4)
    np.testing.assert_allclose(found, [1.0, 1.0, 5.0, 9.0], rtol=1e-9)
    np.testing.assert_allclose(programme._of_moments(points[::40], 0.4)[[0, 3]], [1.0, 9.0], rtol=1e-9)


@pytest.mark.parametrize(("width_hz", "window_s"), [(1000.0, 0.15), (40.0, 0.2)])
def test_the_gain_follows_by_chance_what_the_weights_of_its_fit_say(width_hz, window_s) -> None:
    """Of an even envelope, two points an independent value, the fit of a gain to what a Hann window w weighs takes the
    share `2 w(0) / sum w - sum w^2 / (sum w)^2` of a point, twice that of a value. Over n steps w has the sum n / 2 and
    the squares 3 n / 8: 5 / n in all, but for the ends. Of noise beside it, of half the points' bandwidth, this share
    is taken; three standard deviations of what so many values allow."""
    seconds = 40.0
    points = round(2.0 * width_hz * seconds)
    played = np.ones(points, dtype=complex)
    moving, followed = moving_gain(played, 0.5j * played, seconds=seconds, width_hz=width_hz)
    np.testing.assert_allclose(moving, 0.5j, rtol=1e-5)  # a millionth of the power is not fitted
    steps = (round(window_s * points / seconds) | 1) + 1
    assert followed == pytest.approx(5.0 / steps, rel=0.01)
    random = np.random.default_rng(5)
    size = points // 2
    spectrum = np.zeros(points, dtype=complex)
    spectrum[np.arange(size) - size // 2] = random.standard_normal(size) + 1j * random.standard_normal(size)
    noise = np.fft.ifft(spectrum) * points
    moving, _ = moving_gain(played, noise, seconds=seconds, width_hz=width_hz)
    left = np.mean(np.abs(noise - moving * played) ** 2) / np.mean(np.abs(noise) ** 2)
    assert 1.0 - left == pytest.approx(followed, abs=3.0 * np.sqrt(followed / size))


def test_a_part_is_silent_up_to_twice_its_floor() -> None:
    part = np.full(8, 2.0 + 0.0j)
    assert np.all(heard._above(part, 0.5, 0.99) == part)  # 0.5 x 4 over 2 x 0.99
    assert np.all(heard._above(part, 0.5, 1.01) == 0.0)


def test_of_added_sound_is_left_what_noise_does_not_explain() -> None:
    """An even power P beside noise N: `1 - N / P` of its power, from 2 N on; nothing where noise is not known."""
    for power, share in ((1.99, 0.0), (2.01, 1.0 - 1.0 / 2.01), (10.0, 0.9)):
        left = np.full(2000, np.sqrt(power), dtype=complex)
        found = heard._without_noise(left, 1.0, seconds=1.0, width_hz=1000.0)
        np.testing.assert_allclose(np.abs(found) ** 2, share * power, atol=1e-6)
    assert not np.any(heard._without_noise(left, np.nan, seconds=1.0, width_hz=1000.0))


def test_a_tone_is_in_its_third_octave_with_its_mean_square() -> None:
    time_s = np.arange(RATE) / RATE
    found = heard.third_octave_powers(0.3 * np.sin(2.0 * np.pi * 1000.0 * time_s), RATE, BANDS_HZ)
    row = int(np.argmin(np.abs(BANDS_HZ - 1000.0)))
    assert found[row] == pytest.approx(0.045)  # a^2 / 2
    assert np.sum(found) == pytest.approx(0.045)
