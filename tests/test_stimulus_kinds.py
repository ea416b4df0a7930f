"""One contract for every kind of stimulus, by its entry on every floor; and nobody asks for a class in passing."""

import ast
import importlib
from dataclasses import fields
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import signals
from distort.assembly.kinds import ANALYSED
from distort.capture.measuring.kinds import LOUD
from distort.recording.alignment.locating import find_reel
from distort.recording.kinds import ALIGNED, aligned
from distort.recording.quality.check import check_recording
from distort.recording.quality.examined import least_rate_hz
from distort.report.kinds import SHOWN
from distort.session.files.names import RecordingName
from distort.session.plan.keys import OPTIONAL, SECTIONS
from distort.session.plan.kinds import PLAYED, TRIAL_DRIVE_DBFS
from distort.session.plan.multitone import MOST_REALISATIONS
from distort.session.plan.reading import plan_from_text
from distort.session.plan.template import plan_text
from distort.session.results.kinds import STORED
from signals import Multitone, SampledSweep, Stimulus, Sweep, describe, framed, from_description, hold_samples, kind_of
from signals.levels import rms_dbfs
from signals.programme import Programme
from signals.sampled_programme import from_samples
from signals.stimulus import KINDS
from tests.program_source import nodes_of

ROOT = Path(__file__).parents[1]

SHORT: dict[str, dict[str, Any]] = {
    "sweep": {"seconds": 3.0},
    "multitone": {"low_hz": 100.0, "period_s": 0.5, "periods": 4},
    "heating": {
        "tone": Multitone(low_hz=100.0, period_s=0.5),
        "loud_periods": 8,
        "asked_periods": 8,
        "pilots_after_s": (0.0, 2.0),
    },
}
"""Fields of kinds that would last long by default."""

DELAY, GAIN = 4321, -0.25
"""Of the recording that is made of each kind: samples, and a factor that turns it upside down."""


def example(kind: str) -> Stimulus:
    """One of each kind: as it is by default, where it has one."""
    if kind == "sampled-programme":
        piece = Programme(seconds=5.0, sample_rate=44100)
        return from_samples(hold_samples(piece.samples()), given_rate=44100, sample_rate=48000, drive_dbfs=-40.0)
    if kind != "sampled-sweep":
        return KINDS[kind](**SHORT.get(kind, {}))
    made = Sweep(seconds=3.0)
    return SampledSweep(
        **{field.name: getattr(made, field.name) for field in fields(Sweep)},
        n_given=made.n_samples,
        fitted_rate_s=made.rate_s,
        filed_dbfs=made.drive_dbfs,
        samples_sha256=hold_samples(made.samples()),
    )


@cache
def everything_planned() -> Any:
    """The plan of a new session with every section that it may have."""
    text = plan_text(name="Monitor A", levels_db_spl=(76.0, 86.0))
    text += "".join(f"\n[{section}]\n" for section in OPTIONAL)
    text = text.replace("realisations = 1 ", f"realisations = {MOST_REALISATIONS} ")
    return plan_from_text(text, source="a plan")


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_is_described_and_made_again(kind) -> None:
    stimulus = example(kind)
    again = from_description(describe(stimulus))
    assert (kind_of(stimulus), again) == (kind, stimulus)
    assert again.n_samples == stimulus.n_samples == stimulus.samples().size
    np.testing.assert_array_equal(again.samples(), stimulus.samples())


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_has_its_drive_and_ends_below_its_highest_frequency(kind) -> None:
    """Parseval: what lies above the highest frequency is the skirt of fades: of 10 ms of 1 s, under 1 %."""
    stimulus = example(kind)
    energy = np.square(np.abs(np.fft.rfft(stimulus.samples())))
    frequency_hz = np.fft.rfftfreq(stimulus.n_samples, 1.0 / stimulus.sample_rate)
    assert np.sum(energy[frequency_hz > 1.02 * stimulus.highest_hz]) < 1e-2 * np.sum(energy)
    assert stimulus.highest_hz < stimulus.sample_rate / 2
    assert rms_dbfs(stimulus.samples()) <= stimulus.drive_dbfs + 0.01  # AES17: of the steady part, the loudest


@pytest.mark.first(3)
@pytest.mark.parametrize("kind", KINDS)
def test_a_recording_of_a_kind_is_found_in_noise_and_judged(kind) -> None:
    """Delay, gain and polarity by construction; the noise is 40 dB below the loudest stretch."""
    stimulus = example(kind)
    reel = framed(stimulus)
    noise = np.random.default_rng(5).normal(0.0, 10.0 ** ((stimulus.drive_dbfs - 40.0) / 20.0) * abs(GAIN), 60000)
    recording = np.concatenate([np.zeros(DELAY), GAIN * reel.samples(), np.zeros(9000)])
    recording += np.resize(noise, recording.size)
    alignment = find_reel(recording, reel)
    # by the chirps a start is known to 0.01 samples at this noise, by the stimulus itself no worse
    assert alignment.stimulus_start == pytest.approx(DELAY + reel.only_stimulus()[0], abs=0.1)
    assert alignment.polarity == -1
    quality = check_recording(recording, reel=reel, alignment=alignment, microphone=False)
    assert quality.verdict != "refuse", [one.sentence for one in quality.troubles()]
    assert quality.finding("signal").value > 20.0
    assert 0.0 < least_rate_hz(reel) <= 2.0 * stimulus.highest_hz


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_known_of_a_kind_holds_together(kind) -> None:
    stimulus, entry = example(kind), aligned(example(kind))
    for band in (entry.flat_hz, entry.covered_hz):
        if band is not None:
            low_hz, high_hz = band(stimulus)
            assert 0.0 < low_hz < high_hz <= stimulus.highest_hz
    if entry.seconds_in is not None:
        halves = [entry.seconds_in(stimulus, *band) for band in ((100.0, 1000.0), (1000.0, 5000.0))]
        whole_s = entry.seconds_in(stimulus, 100.0, 5000.0)
        assert sum(halves) == pytest.approx(whole_s)
        assert 0.0 < whole_s < stimulus.n_samples / stimulus.sample_rate


def test_what_is_analysed_of_a_kind_is_played_written_and_shown_under_one_word() -> None:
    of_others = {word for word, shown in SHOWN.items() if shown.needs}
    assert set(ANALYSED) | of_others == set(STORED) == set(SHOWN)
    assert not set(ANALYSED) & of_others
    asked_apart = {word for word, shown in SHOWN.items() if shown.asked_by}
    assert set(ANALYSED) - asked_apart <= {played.name for played in PLAYED}
    for word, shown in SHOWN.items():
        module, _, function = shown.said_by.partition(":")
        assert callable(getattr(importlib.import_module(module), function)), word
        assert (resources.files("distort.report") / shown.methods).is_file(), word


def test_every_entry_belongs_to_a_kind() -> None:
    assert set(ALIGNED) <= set(KINDS)
    assert set(LOUD) <= set(KINDS)
    names = [kind.name for kind in PLAYED]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("played", PLAYED, ids=lambda kind: kind.name)
def test_what_a_plan_plays_can_be_named_made_at_any_drive_and_judged_while_it_is_loud(played) -> None:
    stimulus = played.made(everything_planned(), TRIAL_DRIVE_DBFS)
    assert played.section in SECTIONS
    assert RecordingName(stimulus=played.name, level_db_spl=86.0).stem == f"{played.name}_86dB"
    assert stimulus is not None
    assert stimulus.drive_dbfs == TRIAL_DRIVE_DBFS
    assert kind_of(stimulus) in LOUD
    # digital full scale leaves no more to it than it says
    peak_dbfs = 20.0 * np.log10(np.max(np.abs(stimulus.samples())))
    assert peak_dbfs - TRIAL_DRIVE_DBFS + min(played.headroom_dbfs(everything_planned()), 0.0) <= 0.0


SIGNALS = {name for name in signals.__all__ if isinstance(getattr(signals, name), type)} - {"SignalError"} | {"KINDS"}


def asks(node: ast.AST) -> bool:
    """Whether code asks what class of signals something is: isinstance, issubclass, type(...) or a class pattern."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("isinstance", "issubclass"):
        return bool(SIGNALS & _names(node.args[1]))
    if isinstance(node, ast.Compare):
        sides = (node.left, *node.comparators)
        typed = [one for one in sides if isinstance(one, ast.Call) and ast.unparse(one.func) == "type"]
        return bool(typed) and any(SIGNALS & _names(one) for one in sides)
    return isinstance(node, ast.MatchClass) and bool(SIGNALS & _names(node.cls))


def _names(node: ast.AST) -> set[str]:
    every = list(ast.walk(node))
    return {one.id for one in every if isinstance(one, ast.Name)} | {
        one.attr for one in every if isinstance(one, ast.Attribute)
    }


@pytest.mark.parametrize(
    "code",
    ["isinstance(it, Sweep)", "isinstance(it, signals.Sweep | int)", "type(it) is Chirp", "issubclass(it, Reel)"],
)
def test_a_question_is_recognised(code) -> None:
    assert any(asks(node) for node in ast.walk(ast.parse(code)))


def test_outside_signals_nobody_asks_of_what_class_a_stimulus_is() -> None:
    """What differs between kinds is in their entries, so that a new kind has no place to be forgotten in."""
    found = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path in sorted((ROOT / "distort").rglob("*.py"))
        for node in nodes_of(path)
        if asks(node)
    ]
    assert found == []
