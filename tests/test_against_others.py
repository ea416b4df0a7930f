"""What recordings say beside others: noise that came during one take, how well they repeat, what they hold instead."""

import numpy as np
import pytest
import scipy.signal

from distort.assembly.condition.against_others import CAME_DB, worst_block
from distort.recording.alignment.prepared import Prepared
from signals import Sweep
from tests.clumsy_session import heard
from tests.devices.quick_loudspeaker import RATE

pytest_plugins = ["tests.clumsy_fixtures"]

SWEEP = Sweep(seconds=3.0)
NOISE = 1e-5


def take(seed: int, *, gain: float = 1.0) -> Prepared:
    random = np.random.default_rng(seed)
    quiet = NOISE * random.standard_normal((2, RATE))
    answer = scipy.signal.lfilter([1.0, 0.4], [1.0, -0.3], SWEEP.samples()) * gain
    samples = np.concatenate([quiet[0], answer, quiet[1]]) + NOISE * random.standard_normal(2 * RATE + answer.size)
    return Prepared(samples=samples, start=float(RATE), silences=(samples[: RATE // 2], samples[-RATE // 2 :]))


def worst(one: Prepared, other: Prepared) -> tuple[float, float]:
    return worst_block(one, other, n_samples=SWEEP.n_samples, rate=RATE)


def test_two_takes_alike_differ_by_nothing_but_noise_also_when_one_is_louder() -> None:
    assert worst(take(1), take(2))[0] < 1.0
    assert worst(take(1), take(2, gain=1.02))[0] < 1.0


def test_a_noise_that_came_while_one_played_is_found_where_it_is() -> None:
    """20 ms of noise 20 dB below the sweep, 2 s into it: over 100 ms -27 dB, 23 above the -50 dB allowed for."""
    one, other = take(1), take(2)
    spoilt = one.samples.copy()
    first = RATE + 2 * RATE
    level = 10.0 ** (-20.0 / 20.0) * float(np.std(SWEEP.samples()))
    spoilt[first : first + RATE // 50] += level * np.random.default_rng(3).standard_normal(RATE // 50)
    excess_db, at_s = worst(Prepared(samples=spoilt, start=one.start, silences=one.silences), other)
    assert excess_db > CAME_DB
    assert at_s == pytest.approx(2.0, abs=0.1)


@pytest.mark.sample
def test_show_quality_says_it_of_a_session(distort, session, tmp_path) -> None:
    import soundfile

    for seed in (1, 2):
        samples = heard(session / "stimuli/sweep_86dB.wav", seed=seed, noise=1e-5)
        if seed == 2:
            middle = samples.size // 2
            samples = samples.copy()
            samples[middle : middle + 2000] += 0.05 * np.random.default_rng(3).standard_normal(2000)
        path = tmp_path / f"take{seed}.wav"
        soundfile.write(path, samples, RATE, subtype="FLOAT")
        distort.done("add", session, path, "--stimulus", "sweep", "--level", "86", "--playback-change-db", "0")
    said = distort.done("show", session, "quality")
    assert "something sounded during one of them" in said
    assert "Its response differs from that of sweep_86dB by" in said
    assert "Noise before, dBFS: 32 Hz" in said


def test_add_names_what_the_recording_holds_instead(distort, session, tmp_path) -> None:
    import soundfile

    samples = heard(session / "stimuli/sweep_86dB.wav", seed=1, noise=1e-5)
    path = tmp_path / "take.wav"
    soundfile.write(path, samples, RATE, subtype="FLOAT")
    said = distort.refused("add", session, path, "--stimulus", "multitone", "--level", "86", inside=session)
    assert "bring it in with --stimulus sweep" in said
