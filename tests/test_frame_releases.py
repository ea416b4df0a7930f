"""The probe after a loud stretch, of frames of 63 Hz without a room: what is lost is written down, and read again."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.frames.baseband import BEFORE_STEPS, Baseband
from distort.analysis.frames.release import Expected, Release, _beginning, _fit, _Part, _Probe, read_release
from signals.frames import Frames

FRAME = Frames(frequencies_hz=(63.0,)).frames[0]
HOLD, AFTER = 26, 126
SINCE_S = (np.arange(AFTER) + 0.5) / 63.0
"""2 s of probe, in steps of a period; ten periods are 0.159 s, a third of the probe 0.664 s."""

NEPER = 20.0 / np.log(10.0)


def base(lost_db=0.0, *, turn: float = 0.0, noise: float = 1e-6, answer=None) -> Baseband:
    """Of which the probe after the loud stretch lost so much, turned by `turn` radians a neper."""
    envelope = np.ones(HOLD + AFTER, dtype=complex)
    envelope[:HOLD] = 10.0
    envelope[HOLD:] = np.exp(-(1.0 + 1j * turn) * np.asarray(lost_db) / NEPER)
    if answer is None:
        answer = np.ones(envelope.size + BEFORE_STEPS)
        answer[:BEFORE_STEPS] = 0.0
    return Baseband(frame=FRAME, envelope=envelope, step_answer=answer.astype(complex), noise=noise)


def going(time_s: float, shape: float) -> np.ndarray:
    """From 1 to 0, 63 % of the way at that time; by its formula."""
    slope = (1.0 - np.exp(-shape)) / shape
    return np.maximum(1.0 - shape * slope * SINCE_S / time_s, 0.0) ** (1.0 / shape)


def read(lost_db, *, gain_db: float = -6.0, least_db: float = 0.2, **fields) -> Release:
    gain = np.linspace(1.0, 10.0 ** (gain_db / 20.0), HOLD).astype(complex)  # the last one counts
    expected = fields.pop("expected", None)
    return read_release(base(lost_db, **fields), gain, least_db=least_db, expected=expected)


@pytest.mark.parametrize(("time_s", "shape"), [(0.2, 1.0), (0.4, 0.5), (0.6, 0.1)])
def test_a_limiters_release_alone(time_s, shape) -> None:
    found = read(4.0 * going(time_s, shape))
    assert found.limiter_db == pytest.approx(4.0, rel=0.01)
    assert found.time_s == pytest.approx(time_s, rel=0.02)
    assert found.slow_db == 0.0
    # how sure heat is then is told by the fit that has both
    assert 0.0 < found.slow_sigma_db < 0.2
    assert 0.0 < found.limiter_sigma_db < 0.2


@pytest.mark.parametrize("slow_db", [3.0, -0.5])
def test_heat_alone(slow_db) -> None:
    """Also where it rises, down to a decibel."""
    found = read(slow_db * np.exp(-SINCE_S / 3.0))
    assert found.slow_db == pytest.approx(slow_db, abs=0.01)
    assert (found.limiter_db, found.time_sigma) == (0.0, np.inf)


def test_both_together_and_with_a_turn_of_phase() -> None:
    found = read(4.0 * going(0.25, 1.0) + 1.5 * np.exp(-SINCE_S / 8.0), turn=-0.4)
    assert found.limiter_db == pytest.approx(4.0, abs=0.03)
    assert found.time_s == pytest.approx(0.25, rel=0.02)
    assert found.slow_db == pytest.approx(1.5, abs=0.03)


@pytest.mark.parametrize(
    ("lost_db", "fields", "name", "bound"),
    [
        # a limiter takes no more than a tenth over all that was lost, or twice what is named at all
        (8.0 * going(0.4, 1.0), {"gain_db": -5.0}, "limiter_db", 5.5),
        (8.0 * going(0.4, 1.0), {"gain_db": -1.0, "least_db": 2.0}, "limiter_db", 4.0),
        # ten periods, and a third of the probe
        (4.0 * going(0.1, 1.0), {}, "time_s", 10.0 / 63.0),
        # heat takes 20 dB at most, and gives 1 dB
        (26.0 * np.exp(-SINCE_S / 20.0), {"gain_db": -0.5}, "slow_db", 20.0),
        (-4.0 * np.exp(-SINCE_S / 20.0), {"gain_db": -0.1}, "slow_db", -1.0),
    ],
)
def test_parts_are_sought_within_bounds(lost_db, fields, name, bound) -> None:
    assert getattr(read(lost_db, **fields), name) == pytest.approx(bound, rel=0.02)


def test_a_release_longer_than_a_third_of_the_probe_is_heat() -> None:
    """Exponential in dB with 1.2 s: what a limiter of 0.66 s cannot be is explained by the slow part alone."""
    found = read(3.0 * np.exp(-SINCE_S / 1.2))
    assert found.limiter_db == 0.0
    assert found.slow_db == pytest.approx(3.0, abs=0.02)


@pytest.mark.parametrize(("least_db", "limits"), [(1.94, True), (2.06, False)])
def test_a_limiter_that_takes_less_than_the_least_is_none(least_db, limits) -> None:
    assert (read(2.0 * going(0.25, 1.0), least_db=least_db).limiter_db > 0.0) == limits


def test_an_attack_that_expects_more_draws_the_limiter_there() -> None:
    """Noise as large as what the limiter takes: three readings' weight of 0.001 dB decide."""
    lost = 2.0 * going(0.25, 1.0)
    found = read(lost, noise=0.2, expected=Expected(limiter_db=3.0, sigma_db=1e-3), least_db=0.01)
    free = read(lost, noise=1e-6, expected=Expected(limiter_db=3.0, sigma_db=10.0))
    assert free.limiter_db == pytest.approx(2.0, abs=0.02)
    assert found.limiter_db in (0.0, pytest.approx(3.0, abs=0.02))


# --- what is left -----------------------------------------------------------------------------------------------------


def test_what_each_part_leaves_is_in_standard_deviations() -> None:
    """Noise of 4e-3 of the probe and 3e-3 that every fit leaves are 5e-3; real parts, then imaginary ones, then how far
    the limiter is from what the attack says, as heavy as three readings."""
    off = 0.01 - 0.02j
    slow, limited = 1.5 * np.exp(-SINCE_S / 5.0), 2.0 * going(0.3, 0.7)
    gain = np.ones(HOLD, complex)
    for values, lost_db, name in (
        ([0.2, 1.5, np.log(5.0)], slow, "slow"),
        ([0.2, 2.0, np.log(0.3), 0.7], limited, "limited"),
        ([0.2, 1.5, np.log(5.0), 2.0, np.log(0.3), 0.7], slow + limited, "both"),
    ):
        heard = base(lost_db, turn=0.2, noise=4e-3)
        moved = replace(heard, envelope=heard.envelope - np.where(np.arange(HOLD + AFTER) < HOLD, 0.0, off))
        probe = _Probe(moved, gain, Expected(limiter_db=1.5, sigma_db=0.25))
        left = getattr(probe, name)(np.array(values))
        np.testing.assert_allclose(left[:AFTER], 0.01 / 5e-3, rtol=1e-6)
        np.testing.assert_allclose(left[AFTER : 2 * AFTER], -0.02 / 5e-3, rtol=1e-6)
        if name == "slow":
            assert left.size == 2 * AFTER
        else:
            assert left[-1] == pytest.approx(np.sqrt(3.0) * 2.0)
        np.testing.assert_allclose(probe.since_s, SINCE_S, rtol=1e-12)


def test_what_the_room_gives_back_of_the_stretch_is_trusted_to_three_hundredths() -> None:
    """An answer that lacks `0.3^(k+1)` after k steps: a stretch of 10 g re the probe, with nothing after it, leaves
    `(10 g - 1) (S_(j+h) ...)` of itself, summed up here step by step."""
    answer = np.concatenate([np.zeros(2), 1.0 - 0.3 ** (1.0 + np.arange(HOLD + AFTER))])
    gain = np.full(HOLD, 0.5 + 0j)
    probe = _Probe(base(noise=4e-3, answer=answer), gain, None)
    sent = np.where(np.arange(HOLD + AFTER) < HOLD, 5.0, 0.0)
    jumps = np.diff(sent, prepend=1.0)
    lingers = np.array(
        [1.0 + sum(jumps[k] * (1.0 - 0.3 ** (1.0 + j - k)) for k in range(j + 1)) for j in range(HOLD, HOLD + AFTER)]
    )
    assert abs(lingers[0]) > 1.0
    np.testing.assert_allclose(probe._sigma, np.hypot(5e-3, 0.03 * np.abs(lingers)), rtol=1e-6)


def test_how_sure_a_fit_is_that_leaves_more_than_noise() -> None:
    """60 readings that nothing explains: from 3 standard deviations on a misfit counts less (soft L1,
    `9 (sqrt(1 + r^2 / 9) - 1)` instead of `r^2 / 2`). Of 20 independent ones two are fitted."""
    off = np.concatenate([np.full(12, 6.0), np.full(12, -6.0), np.full(18, 3.0), np.full(18, -3.0)])
    part = _Part(begin=(0.3,), lower=(-5.0,), upper=(5.0,))
    found = _fit(
        lambda values: off + np.stack([np.ones(60), np.linspace(-1.0, 1.0, 60)], axis=1) @ values * 0.0, [part]
    )
    cost = float(np.sum(9.0 * (np.sqrt(1.0 + off**2 / 9.0) - 1.0)))
    assert found.cost == pytest.approx(cost)
    assert found.scale == pytest.approx(3.0 * 2.0 * cost / 3.0 / (60.0 / 3.0 - 2.0))
    assert found.values[0] == 0.0


def test_a_search_begins_where_another_ended_within_its_own_bounds() -> None:
    part = _Part(begin=(0.0, 0.0, 0.0), lower=(-1.0, -1.0, -1.0), upper=(1.0, 2.0, 3.0))
    assert _beginning(part, np.array([-4.0, 1.5, 9.0])).begin == (-1.0, 1.5, 3.0)
