"""What a sweep's readings are put together from: what each part is given, with the parts themselves in their own
tests."""

import math
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.sweep import sweeps
from distort.analysis.sweep.readings import Reading
from distort.analysis.sweep.sweeps import Reference, Settings, SweepReadings, SweepTake, read_sweep
from signals import Sweep
from tests.report_examples import response as response_example

HZ = grid_hz()
SWEEP = Sweep(seconds=4.0, start_hz=10.0, full_level_hz=30.0, stop_hz=20000.0, drive_dbfs=-9.0, lowest_hz=40.0)
SHORT = replace(SWEEP, seconds=2.0)


def reading(power: float, noise: float = 0.0) -> Reading:
    rows = np.ones(HZ.size)
    return Reading(power=power * rows, noise=noise * rows, leak=0.0 * rows, variance=0.0 * rows)


@cache
def context(name: str) -> SimpleNamespace:
    return SimpleNamespace(name=name, separated=f"separated {name}")


def readings_of(sweep: Sweep, name: str) -> SweepReadings:
    return SweepReadings(
        sweep=sweep,
        context=context(name),
        readings=(reading(1.0), reading(0.1), reading(0.01)),
        residual=np.full(HZ.size, 1e-6),
        arrival_s=0.25,
        noise=None,
        takes_variance=(f"takes {name}",),
        overheard=(),
    )


def in_db(ratio: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore"):
        return 20.0 * np.log10(ratio)


@pytest.fixture
def asked(monkeypatch) -> dict:
    """What the parts are given."""
    given: dict = {"errors": []}
    found = SimpleNamespace(orders=[SimpleNamespace(bias_db="bias 2"), SimpleNamespace(bias_db="bias 3")])

    def harmonics(read, **named):
        given.update(named, read=read)
        return found

    def errors(own, read, *, seen, takes_variance):
        given["errors"].append((own, seen, takes_variance))
        return f"errors of {own.name}"

    monkeypatch.setattr(sweeps, "harmonics", harmonics)
    monkeypatch.setattr(sweeps, "order_errors", errors)
    monkeypatch.setattr(sweeps, "FundamentalSeen", lambda own: f"seen in {own.name}")
    monkeypatch.setattr(sweeps, "lowest_valid_hz", lambda separated: 33.0)
    monkeypatch.setattr(sweeps, "with_intervals", lambda *parts: parts)
    monkeypatch.setattr(sweeps, "response", lambda *parts, **named: (parts, named))
    return given


def test_levels_are_those_of_the_drive_and_the_reference(asked):
    read, reference = readings_of(SWEEP, "long"), Reference(offset_db=110.0, unit="db_spl")
    sweeps.sweep_harmonics(read, reference)
    assert (asked["level_offset_db"], asked["unit"], asked["lowest_valid_hz"]) == (101.0, "db_spl", 33.0)
    assert (asked["linear"], asked["short"]) == (None, None)
    parts, named = sweeps.sweep_response(read, reference)
    assert parts == ("separated long", read.readings[0])
    assert (named["level_offset_db"], named["unit"], named["arrival_s"]) == (101.0, "db_spl", 0.25)


def test_the_input_is_that_of_the_lowest_level_and_what_this_one_was_driven_more(asked):
    """Where the drive falls below `lowest_hz` it falls in both: the path alone is taken out, and what was played at f
    is put in."""
    linear = response_example(80.0)
    sweeps.sweep_harmonics(readings_of(SWEEP, "long"), Reference(), linear=linear, driven_db=10.0)
    played = in_db(SWEEP.envelope(HZ))
    assert np.min(played[HZ > 25.0]) < -15.0
    np.testing.assert_allclose(asked["linear"].level_db, linear.level_db - played)
    np.testing.assert_allclose(asked["driven_db"], 10.0 + played)


def test_of_a_short_sweep_the_share_is_that_of_the_lengths(asked):
    """k = L' / (L - L'): of an error that falls as 1 / L, the difference of both is `e (L / L' - 1)`."""
    found, errors, short = sweeps.sweep_harmonics(
        readings_of(SWEEP, "long"), Reference(), short=readings_of(SHORT, "short")
    )
    length, shorter = (round(10.0 * one.seconds / math.log(2000.0)) / 10.0 for one in (SWEEP, SHORT))
    assert short.part == pytest.approx(shorter / (length - shorter))
    assert short.difference_db == ["bias 2", "bias 3"]
    assert (errors, short.errors) == ("errors of long", "errors of short")
    seen = "seen in long"
    assert asked["errors"] == [
        (context("long"), seen, ("takes long",)),
        (context("short"), seen, ("takes short",)),
    ]
    assert len(asked["short"]) == 3
    assert found.orders[0].bias_db == "bias 2"


def test_rounding_adds_to_the_noise_of_each_order():
    asked = []

    def power(fundamental, *, order, drive_dbfs):
        asked.append((fundamental[0], order, drive_dbfs))
        return np.full(HZ.size, 1e-3 * order)

    given = (reading(4.0, 1e-4), reading(0.1, 2e-4), reading(0.01, 3e-4))
    found = sweeps._with_rounding(given, SimpleNamespace(power=power), drive_dbfs=-9.0)
    assert [one.noise[0] for one in found] == pytest.approx([1.1e-3, 2.2e-3, 3.3e-3])
    assert [one.power[0] for one in found] == [4.0, 0.1, 0.01]
    assert asked == [(4.0, 1, -9.0), (4.0, 2, -9.0), (4.0, 3, -9.0)]


@pytest.mark.parametrize("silent", [True, False])
def test_takes_are_read_together(monkeypatch, silent):
    """The coarsest step and the quietest silence tell how it was rounded; the residual is the mean over the takes, re
    the fundamental; the first take tells where it arrives."""
    made = [
        SimpleNamespace(
            separated=f"separated {n}", residual=np.full(HZ.size, 1e-6 * n), overheard=n, images=(n,), beyond=n or None
        )
        for n in (0, 2)
    ]
    turns = iter(made)
    asked, read = {}, []
    for name, function in {
        "_read_take": lambda take, sweep, settings: next(turns),
        "mean_of_takes": lambda some: some,
        "silence_densities": lambda silences, sample_rate: tuple(float(np.max(one)) for one in silences),
        "mean_density": lambda some: SimpleNamespace(of=some, density=np.array([1e-9, 1e-30])),
        "replace": lambda one, **fields: asked.update(fields) or "noise",
        "separation": lambda separated, *, noise, excitation_hz, octaves: (separated, noise, octaves),
        "readings_in": lambda context: read.append(context) or (reading(4.0), reading(0.1)),
        "readings": lambda separated, *, noise, excitation_hz, octaves: read.append((separated, noise, octaves)),
        "takes_variance": lambda alone: ("scatter", len(alone)),
        "_with_rounding": lambda found, rounding, drive_dbfs: (
            asked.update(rounding=rounding, drive=drive_dbfs) or found
        ),
    }.items():
        monkeypatch.setattr(sweeps, name, function)
    tone = np.tile([1.0, -1.0], 50)
    takes = [
        SweepTake(samples=tone, start=12000.0, silences=(3e-4 * tone,) if silent else (), step=1e-4),
        SweepTake(samples=tone, start=24000.0, silences=(2e-4 * tone, 5e-4 * tone) if silent else (), step=3e-4),
    ]
    found = read_sweep(takes, SWEEP, Settings(smoothing_octaves=0.2))
    np.testing.assert_allclose(found.residual, 1e-6 / 4.0)
    assert found.arrival_s == 0.25
    assert (found.overheard, found.images, found.beyond) == ((0, 2), (0,), (2,))
    assert found.takes_variance == ("scatter", 2)
    noise = "noise" if silent else None
    assert found.context == (["separated 0", "separated 2"], noise, 0.2)
    assert read == [
        (["separated 0", "separated 2"], noise, 0.2),
        *[(f"separated {n}", noise, 0.2) for n in (0, 2)],
    ]
    silences = [one if one is None else list(one.of) for one in found.silences]
    assert silences == ([[3e-4], [2e-4, 5e-4]] if silent else [None, None])
    if silent:
        assert (asked["rounding"].step, asked["drive"]) == (3e-4, -9.0)
        assert asked["rounding"].noise_rms == pytest.approx(2e-4)
        # a silence of equal samples does not tell of rounding's own noise, step^2 / 12 over half the rate
        np.testing.assert_allclose(asked["density"], [1e-9, 3e-4**2 / 6.0 / 48000.0])


def test_without_a_take_there_is_nothing_to_read():
    with pytest.raises(sweeps.AnalysisError, match="no recording"):
        read_sweep([], SWEEP, Settings())
