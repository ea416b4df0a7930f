"""Which recordings are held beside others, and what is made of one alone: every condition and term by itself.

Recordings are stood in for by the fields that are asked of them; numbers beside a test are the contract.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from distort.assembly.condition import against_others as beside
from distort.assembly.condition import residual_sound as alone
from distort.errors import SessionError
from tests.test_beside_limits import RATE, SIZE, N, beside_it, prepared, recording, response, tone


def take(name: str, *, stimulus: str = "sweep", rejected=None, sweep: str = "one", began_s: float = 0.0, **more):
    given = {
        "stimulus_name": stimulus,
        "rejected": rejected,
        "stimulus": sweep,
        "began_s": began_s,
        "condition": "main",
    }
    one = recording(**(given | {"name": SimpleNamespace(stem=name), "level_db_spl": 96.0, "after": None} | more))
    one.files = SimpleNamespace(audio_path=name, in_session=f"recordings/{name}.wav")
    return one


def test_every_sweep_is_held_beside_the_first_of_its_kind(monkeypatch):
    """In the order in which they were recorded; rejected ones and other stimuli are left out."""
    monkeypatch.setattr(beside, "clock_of", lambda _: SimpleNamespace(began_s=lambda one: one.sidecar.began_s))
    monkeypatch.setattr(beside, "sweep_of", lambda stimulus, path: stimulus)
    monkeypatch.setattr(beside, "_response", lambda one: f"response of {one.sidecar.name.stem}")
    monkeypatch.setattr(beside, "_level", lambda response, one, plan: (f"level by the {response}",))
    monkeypatch.setattr(beside, "_delay", lambda one, plan: ("delay",))
    monkeypatch.setattr(
        beside, "_repeatability", lambda own, earlier, first: f"{own}, {earlier}, {first.sidecar.name.stem}"
    )
    monkeypatch.setattr(
        beside, "_noise_during", lambda one, earlier: f"{one.sidecar.name.stem} during {earlier.sidecar.name.stem}"
    )
    recordings = [
        take("c", began_s=3.0),
        take("a", began_s=1.0),
        take("b", began_s=2.0, sweep="other"),
        take("d", began_s=0.0, rejected="spoilt"),
        take("e", began_s=0.0, stimulus="multitone"),
        take("f", began_s=4.0),
    ]
    found = beside.against_others(recordings, SimpleNamespace(of=lambda condition: condition))
    assert list(found) == ["a", "b", "c", "f"]
    for name in ("a", "b"):
        assert found[name] == (f"level by the response of {name}", "delay")
    for name in ("c", "f"):
        assert found[name][2:] == (f"response of {name}, response of a, a", f"{name} during a")


def test_what_is_clear_below_the_lowest_valid_row_alone_tells_nothing():
    noise = np.array([0.0, 79.0, 79.0, 79.0, 79.0])
    found = beside._repeatability(response(80.2, noise_db=noise), response(80.0), recording())
    assert np.isnan(found.value)


@pytest.mark.parametrize(
    ("n_samples", "spoilt_from", "told"), [(1000, 900, True), (1099, 1000, False), (1100, 1000, True), (N, 1000, False)]
)
def test_whole_tenths_of_a_second_alone_are_looked_at(n_samples, spoilt_from, told):
    """The last one as well, where the stimulus ends with it."""
    spoilt = tone()
    spoilt[100 + spoilt_from :] += beside_it(-20.0)[100 + spoilt_from :]
    excess_db, at_s = beside.worst_block(prepared(spoilt), prepared(tone()), n_samples=n_samples, rate=RATE)
    assert (excess_db > 20.0) is told
    assert not told or at_s == pytest.approx(spoilt_from / RATE)


def test_where_noise_came_is_told_with_its_time(monkeypatch):
    spoilt = tone()
    spoilt[100 + 4 * SIZE : 100 + 5 * SIZE] += beside_it(-20.0)[100 + 4 * SIZE : 100 + 5 * SIZE]
    for samples, words in ((spoilt, "0.4 s into the sweep it differs"), (tone(), "Nothing came while it played")):
        both = iter([prepared(samples), prepared(tone())])
        monkeypatch.setattr(beside, "prepare", lambda _, both=both: next(both))
        stimulus = SimpleNamespace(sample_rate=RATE, n_samples=N)
        found = beside._noise_during(recording(stimulus=stimulus), recording())
        assert words in found.sentence


# --- one alone --------------------------------------------------------------------------------------------------------


def test_the_first_take_of_a_level_that_nobody_rejected_is_heard():
    """Neither a repeat after others nor another stimulus; else the levels that there are are told."""
    recordings = (
        take("rejected", rejected="spoilt"),
        take("after", after="main_96"),
        take("tone", stimulus="multitone"),
        take("quiet", level_db_spl=86.0),
        take("first"),
        take("second"),
    )
    assert alone._sweep_of(recordings, 96.0, "main") is recordings[4]
    assert alone._sweep_of(recordings, 86.0, "main") is recordings[3]
    with pytest.raises(SessionError, match=r"no sweep at 91 dB SPL that is not rejected: there are 86, 96"):
        alone._sweep_of(recordings, 91.0, "main")
    with pytest.raises(SessionError, match="there are none"):
        alone._sweep_of(recordings[:3], 96.0, "main")


def heard(monkeypatch, samples: np.ndarray, *, unit: str = "db_spl", while_hz=None):
    one = take("first", simulated=False, recording_sha256="ab", calibration="94 dB")
    asked = {}

    def deconvolve(samples, sweep, *, start, orders):
        asked.update(samples=samples, start=start, orders=orders)
        return "impulse response"

    def reference_of(calibration, *, distance_m):
        asked.update(distance_m=distance_m)
        return SimpleNamespace(unit=unit, offset_db=120.0)

    monkeypatch.setattr(alone, "load_recordings", lambda *_: (one,))
    there = SimpleNamespace(samples="samples", start=12.5)
    monkeypatch.setattr(alone, "sweep_take_of", lambda _: (there, SimpleNamespace(sample_rate=8000)))
    monkeypatch.setattr(alone, "deconvolve", deconvolve)
    monkeypatch.setattr(alone, "beyond_orders", lambda response: {"impulse response": "beyond"}[response])
    monkeypatch.setattr(alone, "as_recorded", lambda beyond: {"beyond": SimpleNamespace(samples=samples)}[beyond])
    monkeypatch.setattr(alone, "_cut", lambda residual, hz: 0.5 * residual.samples)
    monkeypatch.setattr(alone, "reference_of", reference_of)
    found = alone.residual_sound(None, "main", 96.0, while_hz=while_hz)
    assert asked == {"samples": "samples", "start": 12.5, "orders": 1, "distance_m": 1.0}
    return found


def test_a_sound_by_itself_peaks_at_12_db_below_full_scale(monkeypatch):
    """Whichever sign its peak has: 0.02 of full scale, -33.98 dB, is raised by 21.98 dB; it is 120 dB up at the
    microphone, 86.02 dB SPL."""
    samples = np.array([0.01, -0.02, 0.005])
    found = heard(monkeypatch, samples)
    np.testing.assert_allclose(found.samples, samples * 10.0 ** (-12.0 / 20.0) / 0.02)
    assert found.raised_db == pytest.approx(-12.0 - 20.0 * np.log10(0.02))
    assert found.peak_db_spl == pytest.approx(120.0 + 20.0 * np.log10(0.02))
    assert (found.sample_rate, found.file, found.level_db_spl) == (8000, "recordings/first.wav", 96.0)
    assert heard(monkeypatch, samples, unit="dbfs").peak_db_spl is None
    cut = heard(monkeypatch, samples, while_hz=(100.0, 200.0))
    assert cut.raised_db == pytest.approx(-12.0 - 20.0 * np.log10(0.01))
    with pytest.raises(SessionError, match="nothing beyond the tenth order"):
        heard(monkeypatch, np.zeros(3))
    with pytest.raises(SessionError, match="nothing beyond the tenth order"):
        heard(monkeypatch, np.zeros(0))
