"""The rules by which a sound is taken for the loudspeaker's or not, and what it puts into a reading: closed forms."""

import math
from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.sweep.cycles import UNKNOWN, Step, in_step
from distort.analysis.sweep.deconvolution import deconvolve
from distort.analysis.sweep.events import Overheard, Sound, not_of_the_loudspeaker, overheard
from distort.analysis.sweep.images import ConversionImage, added_by, conversion_images, touched_by
from distort.analysis.sweep.orders import separate
from distort.analysis.sweep.plane import plane_of
from distort.analysis.sweep.readings import Reading
from distort.analysis.sweep.touched import Touched, added_power, events_in_time, with_touched
from signals import Sweep
from tests.devices.restless import poorly_converted
from tests.report_examples import harmonics as harmonics_example

RATE = 16000
SWEEP = Sweep(seconds=8.0, sample_rate=RATE, stop_hz=7000.0, drive_dbfs=-6.0)
START = RATE
NO_STEP = Step(0.0, 0.0, 0.0, 0.0, 0.0)


def recording(noise: float = 1e-4, seed: int = 0) -> np.ndarray:
    made = np.pad(SWEEP.samples(), (START, 2 * RATE))
    return made + noise * np.random.default_rng(seed).standard_normal(made.size)


def burst(from_s: float, to_s: float, rms: float) -> np.ndarray:
    """White noise between two times, seconds into the sweep."""
    made = np.zeros(START + SWEEP.n_samples + 2 * RATE)
    first, end = START + round(from_s * RATE), START + round(to_s * RATE)
    made[first:end] = rms * np.random.default_rng(1).standard_normal(end - first)
    return made


def listened(samples: np.ndarray) -> Overheard:
    return overheard(deconvolve(samples, SWEEP, start=float(START)), samples, start=float(START))


@pytest.fixture(scope="module")
def with_burst() -> Overheard:
    return listened(recording() + burst(3.0, 3.6, 3e-3))


def test_a_burst_of_noise_is_told_at_its_time(with_burst) -> None:
    """Within a frame of 40 ms and three moments of 20 ms; the sweep passed f = f1 exp(t / L) then."""
    (event,) = events_in_time(with_burst, with_burst.sounds, ())
    assert event.start_s == pytest.approx(1.0 + 3.0, abs=0.1)
    assert event.end_s == pytest.approx(1.0 + 3.6, abs=0.1)
    assert event.low_hz == pytest.approx(10.0 * math.exp(3.0 / SWEEP.rate_s), rel=0.09)
    assert event.high_hz == pytest.approx(10.0 * math.exp(3.6 / SWEEP.rate_s), rel=0.09)
    assert event.touched == ()


def test_its_density_is_that_of_white_noise(with_burst) -> None:
    """s^2 / (fs / 2), one-sided. Of the middle of the burst, 60 third octaves by moments: their mean scatters by 2
    %."""
    (sound,) = with_burst.sounds
    middle = sound.excess[(sound.end - sound.first) // 3 : -(sound.end - sound.first) // 3]
    known = middle[middle > 0.0]
    assert known.size > 60
    assert np.mean(known) == pytest.approx((3e-3) ** 2 / (RATE / 2.0), rel=0.1)


@pytest.mark.parametrize("order", [2, 3])
def test_what_it_puts_into_an_order_is_what_the_reading_of_it_alone_holds(with_burst, order) -> None:
    """The same burst without a sweep goes through the windows of the orders: an independent way to the same power.
    Where it is strongest, over a half octave, 12 rows with some 10 values each: 8 % of scatter, 0.4 dB."""
    alone = separate(deconvolve(burst(3.0, 3.6, 3e-3), SWEEP, start=float(START)), orders=4).spectra[order - 1]
    power = alone.power.smoothed(order * grid_hz(), 1.0 / 12.0)
    added = added_power(with_burst.plane, with_burst.sounds[0], order=order)
    top = int(np.argmax(added))
    rows = slice(top - 6, top + 6)
    ratio_db = 10.0 * math.log10(np.mean(added[rows]) / np.mean(power[rows]))
    assert abs(ratio_db) < 1.5


def test_it_is_told_alone_and_beside_a_quiet_take_but_not_beside_one_that_has_it_too(with_burst) -> None:
    quiet = listened(recording(seed=2))
    assert quiet.sounds == ()
    assert len(not_of_the_loudspeaker(with_burst, ())) == 1
    assert len(not_of_the_loudspeaker(with_burst, [quiet.plane])) == 1
    again = listened(recording(seed=3) + burst(3.0, 3.6, 2e-3))
    assert not_of_the_loudspeaker(with_burst, [quiet.plane, again.plane]) == ()


def test_at_another_frequency_of_the_sweep_it_is_another_sound(with_burst) -> None:
    later = listened(recording(seed=3) + burst(4.8, 5.4, 3e-3))
    assert len(not_of_the_loudspeaker(with_burst, [later.plane])) == 1


def _at(heard: Overheard, sweep_hz: float, **fields: object) -> Overheard:
    """The recording with one sound that begins where the sweep is at that frequency."""
    plane = heard.plane
    first = int(np.argmin(np.abs(plane.sweep_hz - sweep_hz)))
    made = {"below": 0, "rise_db": 0.0, "between_db": 0.0, "step": NO_STEP} | fields
    sound = Sound(first=first, end=first + 3, excess=np.zeros((3, plane.frequency_hz.size)), **made)
    return replace(heard, sounds=(sound,))


@pytest.mark.parametrize(
    ("sweep_hz", "fields", "told"),
    [
        (1100.0, {"rise_db": 40.0, "step": Step(0.1, 0.9, 0.0, 0.0, 0.0)}, True),
        (900.0, {"rise_db": 40.0, "step": Step(0.1, 0.9, 0.0, 0.5, 0.0)}, False),
        (1100.0, {}, False),
        (200.0, {"below": 3}, True),
        (190.0, {"below": 2}, False),
        (210.0, {"below": 2}, True),
        (90.0, {"below": 3}, False),
        (350.0, {"below": 2}, True),
        (350.0, {"below": 1}, False),
        (350.0, {"below": 2, "step": Step(0.1, 0.9, 0.0, 0.5, 0.0)}, True),
        (1100.0, {"between_db": 40.0}, True),
        (900.0, {"between_db": 40.0}, False),
        (900.0, {"between_db": 40.0, "step": UNKNOWN}, True),
        (200.0, {"rise_db": 3.0 + 2.8 / SWEEP.rate_s + 0.1}, True),
        (200.0, {"rise_db": 3.0 + 2.8 / SWEEP.rate_s - 0.1}, False),
        (200.0, {"rise_db": 40.0, "step": Step(0.031, 0.51, 0.0, 0.1, 0.0)}, False),
        (200.0, {"rise_db": 40.0, "step": Step(0.031, 0.51, 0.0, 0.0, 0.0)}, True),
        (200.0, {"rise_db": 40.0, "step": Step(0.029, 0.51, 0.0, 0.1, 0.0)}, True),
        (200.0, {"rise_db": 40.0, "step": Step(0.031, 0.49, 0.0, 0.1, 0.0)}, True),
        (200.0, {"rise_db": 40.0, "step": Step(0.0, 0.0, 0.031, 0.76, 0.0)}, False),
        (200.0, {"rise_db": 40.0, "step": Step(0.0, 0.0, 0.031, 0.74, 0.0)}, True),
        (200.0, {"rise_db": 40.0, "step": Step(0.016, 0.0, 0.0, 0.0, 5.1)}, False),
        (200.0, {"rise_db": 40.0, "step": Step(0.014, 0.0, 0.0, 0.0, 5.1)}, True),
        (200.0, {"rise_db": 40.0, "step": Step(0.016, 0.0, 0.0, 0.0, 4.9)}, True),
        (200.0, {"rise_db": 40.0, "step": Step(0.016, 0.31, 0.0, 0.21, 2.3)}, False),
        (200.0, {"rise_db": 40.0, "step": Step(0.016, 0.31, 0.0, 0.21, 2.1)}, True),
    ],
)
def test_what_a_recording_alone_tells(with_burst, sweep_hz, fields, told) -> None:
    assert bool(not_of_the_loudspeaker(_at(with_burst, sweep_hz, **fields), ())) is told


def _noise_in_cycles(open_share: float) -> np.ndarray:
    """Noise from 80 to 120 Hz that is there in a part of each cycle of the sweep."""
    time_s = np.arange(SWEEP.n_samples) / RATE
    turns = SWEEP.start_hz * SWEEP.rate_s * np.expm1(time_s / SWEEP.rate_s)
    sweep_hz = SWEEP.start_hz * np.exp(time_s / SWEEP.rate_s)
    there = (sweep_hz > 80.0) & (sweep_hz < 120.0) & (turns % 1.0 < open_share)
    made = 1e-2 * np.random.default_rng(4).standard_normal(SWEEP.n_samples) * there
    return np.pad(made, (START, 2 * RATE))


def _step(open_share: float) -> Step:
    from_s, to_s = (float(SWEEP.time_s(hz)) for hz in (80.0, 120.0))
    return in_step(recording() + _noise_in_cycles(open_share), SWEEP, start=float(START), from_s=from_s, to_s=to_s)


def test_noise_in_half_of_each_cycle_keeps_step() -> None:
    """The variance over the cycle of a half that is filled is 1, re the squared mean."""
    step = _step(0.5)
    assert step.kept
    assert step.power == pytest.approx(1.0, abs=0.1)
    assert step.power_agreement > 0.95


def test_noise_through_all_of_the_cycle_keeps_none() -> None:
    step = _step(1.0)
    assert step.known
    assert not step.kept
    assert abs(step.power) < 0.02


@pytest.mark.parametrize(("side", "sign"), [("below", -1.0), ("above", 1.0)])
def test_images_of_a_straight_line_between_samples(side, sign) -> None:
    """Linear interpolation has the spectrum sinc^2(f / fs), so that the images of a tone at f, at fs - f and fs + f,
    are (f / (fs -+ f))^2 of it. On the way from 48 to 44.1 kHz they fold to |3,900 - f| and 3,900 + f, on the way
    back to 3,900 + f and |3,900 - f|, and add. Third octaves are means, and the ways take up to 0.8 dB more off what
    lies higher."""
    sweep = Sweep(seconds=5.0, sample_rate=48_000, stop_hz=20_000.0, drive_dbfs=-6.0)
    played = np.pad(sweep.samples(), 48_000)
    played += 1e-5 * np.random.default_rng(5).standard_normal(played.size)
    poor = poorly_converted(played, 48_000, through=44_100, taps=2)
    found = conversion_images(deconvolve(poor, sweep, start=48_000.0))
    (image,) = [one for one in found if (one.offset_hz, one.side) == (3900.0, side)]
    assert len(image.frequency_hz) >= 6
    for hz, relative_db in zip(image.frequency_hz, image.relative_db, strict=True):
        there, back = (hz / (48_000.0 + sign * hz)) ** 2, (hz / (44_100.0 - sign * hz)) ** 2
        assert relative_db == pytest.approx(20.0 * math.log10(there + back), abs=1.6), hz
    assert conversion_images(deconvolve(played, sweep, start=48_000.0)) == ()


def test_an_image_touches_an_order_where_it_crosses() -> None:
    """At 3,900 + f = 2 f the image lies on the second order, 20 dB above it; a strong order is not touched."""
    image = ConversionImage(
        offset_hz=3900.0, side="above", frequency_hz=(3162.0, 3981.0, 5012.0), relative_db=(-60.0, -60.0, -60.0)
    )
    rows = grid_hz().size
    nothing = np.full(rows, np.nan)

    def reading(power: float) -> Reading:
        return Reading(power=np.full(rows, power), noise=nothing, leak=nothing, variance=nothing)

    sweep = Sweep(seconds=10.0)
    (touched,) = touched_by(image, (reading(1.0), reading(1e-8)), sweep)
    assert touched.order == 2
    assert touched.low_hz < 3900.0 < touched.high_hz
    assert touched_by(image, (reading(1.0), reading(1e-4)), sweep) == ()


def test_what_is_touched_is_marked_and_nothing_else() -> None:
    harmonics = harmonics_example()
    row = 120
    at_hz = float(harmonics.frequency_hz[row])
    marked = with_touched(harmonics, [Touched(order=3, low_hz=at_hz, high_hz=at_hz)])
    for before, after in zip(harmonics.orders, marked.orders, strict=True):
        expected = before.doubtful.copy()
        expected[row] |= before.order == 3
        np.testing.assert_array_equal(after.doubtful, expected)


@pytest.mark.parametrize(("side", "sign", "order"), [("above", 1.0, 2), ("above", 1.0, 3), ("below", -1.0, 2)])
def test_what_an_image_puts_into_an_order_is_what_the_order_window_holds_of_it(side, sign, order) -> None:
    """A sweep at F +- f of -60 dB and nothing else, through the order's window. Where it crosses, n f = F +- f, the
    mean power over the rows of a third octave; what it is smoothed over leaves 0.5 dB."""
    sweep = Sweep(seconds=8.0, sample_rate=48_000, stop_hz=20_000.0, drive_dbfs=0.0)
    time_s = np.arange(sweep.n_samples) / 48_000
    growth = np.exp(time_s / sweep.rate_s)
    phase = 2.0 * np.pi * (3900.0 * time_s + sign * sweep.start_hz * sweep.rate_s * (growth - 1.0))
    image_only = 1e-3 * sweep.envelope(sweep.start_hz * growth) * np.sin(phase) * (sweep.start_hz * growth < 9000.0)
    held = separate(deconvolve(np.pad(image_only, 48_000), sweep, start=48_000.0), orders=4).spectra[order - 1]
    hz = tuple(float(one) for one in (300.0, 1000.0, 3000.0, 8000.0))
    image = ConversionImage(offset_hz=3900.0, side=side, frequency_hz=hz, relative_db=(-60.0,) * 4)
    nothing = np.full(grid_hz().size, np.nan)
    fundamental = Reading(power=np.ones(grid_hz().size), noise=nothing, leak=nothing, variance=nothing)
    added = added_by(image, fundamental, sweep, order)
    crossing = int(np.argmin(np.abs(grid_hz() - 3900.0 / (order - sign))))
    rows = slice(crossing - 4, crossing + 5)
    power = held.power.smoothed(order * grid_hz(), 1.0 / 12.0)
    assert 10.0 * math.log10(np.mean(added[rows]) / np.mean(power[rows])) == pytest.approx(0.0, abs=0.5)


@pytest.mark.parametrize("orders", [1, 2])
def test_nothing_is_told_of_orders_however_long_the_transform_is(orders: int) -> None:
    """Ten orders of one strength each, 110 dB above the noise; the circle is a whole number of frames or none. A
    frame that is taken for another's place holds an arrival, 40 dB over what is usual, where none should be."""
    time_s = np.arange(SWEEP.n_samples) / RATE
    phase = 2.0 * math.pi * SWEEP.start_hz * SWEEP.rate_s * np.expm1(time_s / SWEEP.rate_s)
    played_hz = SWEEP.start_hz * np.exp(time_s / SWEEP.rate_s)
    made = sum(
        0.03 * np.sin(n * phase) * np.clip((7000.0 - n * played_hz) / 1000.0, 0.0, 1.0) for n in range(2, 11)
    ) * SWEEP.envelope(played_hz)
    samples = recording(noise=1e-5) + np.pad(0.5 * made, (START, 2 * RATE))
    plane = plane_of(deconvolve(samples, SWEEP, start=float(START), orders=orders))
    known = (plane.freedom >= 4.0) & (plane.sweep_hz[:, np.newaxis] > 100.0)  # below, the fade-in's edge rings
    assert np.max(plane.density[known] / plane.usual[known]) < 10.0**2.0
