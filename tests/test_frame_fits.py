"""What is sent into a room step by step, and the fit of the probe after a loud stretch: closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.frames.baseband import BEFORE_STEPS, Baseband
from distort.analysis.frames.release import Expected, _fit, _Part, _Probe, _release
from signals.frames import Frames

FRAME = Frames(frequencies_hz=(1000.0,)).frames[0]


def straight(*, steps: int) -> Baseband:
    """A frame without a room, in which what is sent is heard."""
    answer = np.concatenate([np.zeros(BEFORE_STEPS), np.ones(steps)]).astype(np.complex128)
    return Baseband(frame=FRAME, envelope=np.ones(steps, dtype=np.complex128), step_answer=answer, noise=1e-4)


def test_a_step_is_heard_as_its_answer_and_later_steps_later() -> None:
    """1 + (2 - 1) S_j + (5 - 2) S_(j - 3)."""
    answer = np.concatenate([[0.0, 0.1], 1.0 - 0.5 ** np.arange(1.0, 21.0)])
    base = replace(straight(steps=20), step_answer=answer.astype(np.complex128))
    sent = np.array([2.0] * 3 + [5.0] * 17)
    later = np.concatenate([np.zeros(1), answer])[: answer.size - 2]  # S_(j - 3), the window reaching two steps before
    np.testing.assert_allclose(base.through_room(sent), 1.0 + answer[2:] + 3.0 * later, atol=1e-9)


def test_the_probe_is_explained_by_what_is_taken_off() -> None:
    """A slow loss and a limiter's, both ended as they are written: nothing is left. What an attack expects is one
    reading more, in its standard deviations, times the root of the three steps that are one."""
    base = straight(steps=300)
    since_s = (np.arange(base.envelope.size - base.hold_steps) + 0.5) * FRAME.step_s
    slope = -np.expm1(-0.5) / 0.5
    going = np.maximum(1.0 - 0.5 * slope * since_s / 0.05, 0.0) ** 2.0
    lost_db = 1.0 * np.exp(-since_s / 2.0) + 1.5 * going
    sent = np.ones(base.envelope.size)
    sent[: base.hold_steps] = base.loud
    sent[base.hold_steps :] = 10.0 ** (-lost_db / 20.0)
    base = replace(base, envelope=sent.astype(np.complex128))
    gain = np.ones(base.hold_steps, dtype=np.complex128)
    values = np.array([0.0, 1.0, np.log(2.0), 1.5, np.log(0.05), 0.5])
    np.testing.assert_allclose(_Probe(base, gain, None).both(values), 0.0, atol=1e-5)
    anchored = _Probe(base, gain, Expected(limiter_db=1.0, sigma_db=0.25)).both(values)
    assert anchored[-1] == pytest.approx(np.sqrt(3.0) * 2.0)


def test_how_sure_a_fit_is() -> None:
    """A straight line through readings of which three are one: variances by the normal equations, times three."""
    at = np.linspace(-1.0, 1.0, 60)
    design = np.stack([np.ones(60), at], axis=1)
    part = _Part(begin=(0.1,), lower=(-5.0,), upper=(5.0,))
    found = _fit(lambda values: design @ (values - np.array([0.2, 1.0])), [part])
    np.testing.assert_allclose(found.values, [0.2, 1.0], atol=1e-5)
    np.testing.assert_allclose(found.sigmas, np.sqrt(3.0 * np.diag(np.linalg.inv(design.T @ design))), rtol=1e-4)
    assert found.scale == 3.0


def test_each_part_keeps_its_own_uncertainty() -> None:
    """Of values that are all different: dB and logarithm of the time, of the slow part and of the limiter."""
    slow = (np.array([0.7, np.log(3.0)]), np.array([0.11, 0.22]))
    limiter = (np.array([1.5, np.log(0.05), 0.5]), np.array([0.33, 0.44, 0.55]))
    found = _release(slow=slow, limiter=limiter)
    assert (found.slow_db, found.slow_sigma_db) == (0.7, 0.11)
    assert (found.limiter_db, found.limiter_sigma_db, found.time_sigma) == (1.5, 0.33, 0.44)
    assert found.time_s == pytest.approx(0.05)
    nothing = _release()
    assert (nothing.slow_db, nothing.slow_sigma_db, nothing.limiter_db, nothing.limiter_sigma_db) == (0.0,) * 4
    assert np.isnan(nothing.time_s)
    assert np.isinf(nothing.time_sigma)
