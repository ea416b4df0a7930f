"""Music synthesised from kernels: against products computed directly, by the level of each moment, within limits."""

import numpy as np
import pytest
import scipy.ndimage

from distort.analysis.common.grid import grid_hz
from distort.analysis.sweep.orders import WindowedSpectrum
from distort.analysis.sweep.windows import OrderWindow
from distort.analysis.synthesis.kernels import Step, highest_drive_dbfs
from distort.analysis.synthesis.programme import loudest_dbfs, synthesise
from distort.analysis.synthesis.ways import Form
from distort.errors import AnalysisError
from signals.levels import rms_dbfs
from signals.programme import Programme
from tests.devices.branches import Branch

RATE = 16000
PIECE = Programme(seconds=2.0, sample_rate=RATE, drive_dbfs=-30.0)
SQUARE = Branch(order=2, filtered=0, size=0.3, corner_hz=800.0)
CUBE = Branch(order=3, filtered=2, size=-2.0, corner_hz=300.0)
FORM = Form(crossover_hz=None, even=(None,), odd=(1.0,))
DELAY_S, GAIN = 0.003, 0.25
"""Of the path: it is a wire."""


def wire(gain: float) -> WindowedSpectrum:
    """The fundamental as a window would hold it that opens 10 ms before the arrival."""
    bin_hz, bins = 4.0, RATE // 8 + 1
    at_hz = np.arange(bins) * bin_hz
    window = OrderWindow(order=1, before_s=0.01, after_s=0.1)
    values = gain * np.exp(-2j * np.pi * at_hz * (0.01 + DELAY_S))
    return WindowedSpectrum(window=window, values=values, bin_hz=bin_hz, energy=1.0, first_s=-0.01)


def step(drive_dbfs: float, *, times: float = 1.0, gain: float = GAIN, branches=(SQUARE, CUBE)) -> Step:
    kernels = {one.order: times * one.diagonal(grid_hz()) for one in branches}
    return Step(drive_dbfs=drive_dbfs, kernels=kernels, response=wire(gain))


def moving(values: np.ndarray) -> np.ndarray:
    """Mean over 125 ms."""
    return scipy.ndimage.uniform_filter1d(values, round(0.125 * 4 * RATE), mode="constant")


def direct(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Square and cube at four times the rate, without what their means over 125 ms make of lower orders."""
    n = x.size
    fine = np.fft.irfft(np.fft.rfft(x), 4 * n) * 4
    at_hz = np.arange(2 * n + 1) * (RATE / n)
    u = np.fft.irfft(np.fft.rfft(fine) * CUBE.low_pass(at_hz), 4 * n)
    square = np.fft.irfft(np.fft.rfft(fine**2 - moving(fine**2)) * SQUARE.low_pass(at_hz), 4 * n)
    cube = u * u * fine - moving(u * u) * fine - 2.0 * moving(u * fine) * u
    return tuple(
        np.fft.irfft(np.fft.rfft(size * made)[: n // 2 + 1], n) / 4
        for size, made in ((SQUARE.size, square), (CUBE.size, cube))
    )


def below_db(wrong: np.ndarray, right: np.ndarray) -> float:
    """Power of the difference re that of `right`, from 25 Hz on: no loudspeaker of this kind plays what lies below."""
    heard = np.fft.rfftfreq(right.size, 1.0 / RATE) > 25.0
    power = [np.sum(np.abs(np.fft.rfft(one)[heard]) ** 2) for one in (wrong - right, right)]
    return 10.0 * np.log10(power[0] / power[1])


def test_music_through_a_known_curve_is_made_wave_for_wave() -> None:
    """Truth: the products written out in this module, at another rate. E_n bends by 1e-4 between the rows of its grid;
    -60 dB are ten times that."""
    x = PIECE.samples()
    made = synthesise(x, RATE, steps=[step(-50.0), step(0.0)], form=FORM)
    padded = np.zeros(made.intended.size)
    padded[: x.size] = x
    late = round(DELAY_S * RATE)
    np.testing.assert_allclose(made.intended, GAIN * np.roll(padded, late), atol=1e-9)
    np.testing.assert_allclose(made.changed, made.intended, atol=1e-9)
    lead = RATE  # a mean about the first moment begins before it
    truth = GAIN * np.roll(sum(direct(np.pad(padded, (lead, 0)))), late)[lead:]
    assert below_db(made.distortion, truth) < -60.0
    assert rms_dbfs(truth) > rms_dbfs(made.intended) - 60.0


def test_each_moment_is_made_with_the_kernels_of_its_level() -> None:
    """Order 2 of a stretch of drive L is read at L + 4.77 dB: half way between two steps, whose kernels are 1 and 3, it
    is 2; 20 dB lower it is that of the lower step. The stretches are noise, whose level over 125 ms scatters by 0.2 dB,
    0.04 of the way between the steps."""
    random = np.random.default_rng(3)
    loud = random.standard_normal(2 * RATE)
    spectrum = np.fft.rfft(loud)
    spectrum[np.arange(spectrum.size) / 2.0 > 3000.0] = 0.0  # so that its square does not fold
    loud = np.fft.irfft(spectrum)
    loud *= 10.0 ** ((-20.0 - 10.0 * np.log10(3.0)) / 20.0) / np.sqrt(2.0 * np.mean(loud**2))
    x = np.concatenate([loud, 0.1 * loud])
    flat = Branch(order=2, filtered=0, size=1.0, corner_hz=1e9)
    steps = [step(-25.0, branches=(flat,)), step(-15.0, times=3.0, branches=(flat,)), step(20.0, branches=(flat,))]
    made = synthesise(x, RATE, steps=steps, form=FORM)
    for first, size in ((0, 2.0), (2 * RATE, 1.0)):
        inside = slice(first + RATE // 2, first + 3 * RATE // 2)
        heard = np.roll(made.distortion, -round(DELAY_S * RATE))[inside] / GAIN
        square = x[inside] ** 2 - np.mean(x[inside] ** 2)
        assert np.vdot(heard, square) / np.vdot(square, square) == pytest.approx(size, abs=0.08)


def test_what_compresses_changes_the_music_by_the_level_of_each_moment() -> None:
    """The fundamental of a noise-like signal is read 10 lg 2 above its drive (a sine's peak is that of its r.m.s. times
    the square root of two): at the upper step, 2 dB down."""
    x = np.random.default_rng(5).standard_normal(2 * RATE)
    x *= 10.0 ** ((-20.0 - 10.0 * np.log10(2.0)) / 20.0) / np.sqrt(2.0 * np.mean(x**2))
    down = 10.0 ** (-2.0 / 20.0)
    steps = [step(drive, gain=gain * GAIN, branches=()) for drive, gain in ((-60.0, 1.0), (-20.0, down), (0.0, down))]
    made = synthesise(x, RATE, steps=steps, form=FORM)
    middle = slice(RATE // 2, 3 * RATE // 2)
    lost_db = 10.0 * np.log10(np.mean(made.changed[middle] ** 2) / np.mean(made.intended[middle] ** 2))
    # the level over 125 ms scatters by 0.2 dB, a two-hundredth of the way between the steps: 0.01 of 2 dB
    assert lost_db == pytest.approx(-2.0, abs=0.02)
    assert not np.any(made.distortion)


def test_louder_than_the_sweeps_tell_is_refused() -> None:
    """Order 5 of the loudest 125 ms is read 10 lg 6 above it: no step reaches there, by a hair on either side."""
    x = PIECE.samples()
    loudest = loudest_dbfs(x, RATE)
    assert PIECE.drive_dbfs + 3.0 < loudest < PIECE.drive_dbfs + 12.0  # between its r.m.s. and its peak
    steps = [step(-60.0), step(loudest + 10.0 * np.log10(6.0) + 0.01)]
    assert highest_drive_dbfs(steps) == pytest.approx(loudest + 0.01)
    synthesise(x, RATE, steps=steps, form=FORM)
    with pytest.raises(
        AnalysisError, match=r"the loudest moments of the music are 2\.0 dB beyond what the sweeps tell"
    ):
        synthesise(x, RATE, steps=steps, form=FORM, turned_db=2.0)


def test_blocks_join_without_a_seam(monkeypatch) -> None:
    """The same in one block and in blocks of 0.8 s: filters settle within the margin."""
    x, steps = PIECE.samples(), [step(-50.0), step(0.0)]
    whole = synthesise(x, RATE, steps=steps, form=FORM)
    monkeypatch.setattr("distort.analysis.synthesis.programme.BLOCK_S", 0.8)
    parts = synthesise(x, RATE, steps=steps, form=FORM)
    # a kernel that is held below 20 Hz, read straight between its rows, rings on for longer: 80 dB below after 0.5 s
    assert below_db(parts.distortion, whole.distortion) < -75.0
    assert below_db(parts.changed, whole.changed) < -90.0
