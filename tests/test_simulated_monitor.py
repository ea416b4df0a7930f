"""The simulated loudspeaker as a device, and its truth by steady tones."""

import dataclasses
import math

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from distort.capture.devices.device import Device
from distort.capture.simulated import Parameters, SimulatedMonitor, State, steady_state_harmonics
from distort.capture.simulated.heat import Heat
from distort.errors import RecordingError
from signals import SignalError

FloatArray = npt.NDArray[np.float64]
RATE = 48000
FULL_SCALE_SPL = 128.0
"""Of the simulated microphone: 0 dBFS (AES17) stands for this level."""


def tone(frequency_hz: float, drive_dbfs: float, *, seconds: float, rate: int = RATE) -> FloatArray:
    n = round(seconds * rate)
    return np.asarray(10 ** (drive_dbfs / 20) * np.sin(2 * np.pi * frequency_hz * np.arange(n) / rate))


def level_db_spl(samples: FloatArray, frequency_hz: float, rate: int = RATE) -> float:
    """Level of one sinusoid in a whole number of its periods, by its Fourier coefficient."""
    phase = np.exp(-2j * np.pi * frequency_hz * np.arange(samples.size) / rate)
    return FULL_SCALE_SPL + 20 * math.log10(2 * abs(np.mean(samples * phase)))


def test_it_is_a_device() -> None:
    device: Device = SimulatedMonitor()
    assert device.name == "simulated monitor"
    assert device.simulated


def test_a_recording_is_longer_than_playback_and_leaves_it_alone() -> None:
    playback = tone(1000.0, -30.0, seconds=0.2)
    kept = playback.copy()
    playback.setflags(write=False)
    recording = SimulatedMonitor().play_and_record(playback, sample_rate=RATE)
    np.testing.assert_array_equal(playback, kept)
    extra_s = (recording.size - playback.size) / RATE
    assert 0.52 <= extra_s <= 0.5601  # half a second and a latency of 20 to 60 ms
    assert recording.dtype == np.float64


def test_the_seed_makes_every_take_again_and_no_two_takes_alike() -> None:
    playback = np.zeros(RATE // 2)
    first, again, other = (SimulatedMonitor(seed=seed) for seed in (7, 7, 8))
    takes = [first.play_and_record(playback, sample_rate=RATE) for _ in range(2)]
    for take in takes:
        np.testing.assert_array_equal(again.play_and_record(playback, sample_rate=RATE), take)
    n = RATE // 2
    # Noise of independent takes: correlation of 24,000 pink samples is far under 0.3.
    assert abs(np.corrcoef(takes[0][:n], takes[1][:n])[0, 1]) < 0.3
    assert abs(np.corrcoef(takes[0][:n], other.play_and_record(playback, sample_rate=RATE)[:n])[0, 1]) < 0.3


def test_latency_differs_from_take_to_take_by_fractions_of_a_sample() -> None:
    """A click's delay, from the phase of its spectrum: travel of 1 m (2.91 ms) and 20 to 60 ms."""
    playback = np.zeros(RATE // 4)
    playback[1000] = 0.5
    table = quiet(Parameters())
    monitor = SimulatedMonitor(parameters=table)
    delays = []
    for _ in range(3):
        recording = monitor.play_and_record(playback, sample_rate=RATE)
        envelope = np.correlate(recording, np.array([0.25, 0.5, 0.25]), mode="same")
        peak = int(np.argmax(np.abs(envelope)))
        around = np.abs(envelope[peak - 1 : peak + 2])
        shift = 0.5 * (around[0] - around[2]) / (around[0] - 2 * around[1] + around[2])
        delays.append(peak + shift - 1000)
    seconds = np.array(delays) / RATE
    assert np.all((seconds > 0.0225) & (seconds < 0.0635))
    assert len({round(delay) for delay in delays}) == 3
    fractions = np.array(delays) % 1.0
    assert np.ptp(fractions) > 0.02


def quiet(table: Parameters) -> Parameters:
    """`table` without any noise, without the room, and with a converter too fine to matter once there is no noise."""
    room = dataclasses.replace(table.room, noise_db_spl=-200.0, hum_db_spl=(-200.0,), direct_to_reverberant_db=300.0)
    microphone = dataclasses.replace(table.microphone, noise_db_spl=-200.0, converter_bits=40)
    return dataclasses.replace(table, room=room, microphone=microphone)


@pytest.mark.first(4)
@pytest.mark.parametrize("rate", [44100, 48000, 96000])
@pytest.mark.parametrize("frequency_hz", [100.0, 1000.0, 8000.0])
def test_what_the_microphone_hears_is_the_steady_truth(rate: int, frequency_hz: float) -> None:
    """Two ways of the same model: a take with its beginning, end, latency and resampling, read by Fourier coefficients
    once it has settled; and a stretch that repeats. At 86 dB the coil warms by 0.3 K: 0.01 dB."""
    monitor = SimulatedMonitor(condition="desk", parameters=quiet(Parameters()))
    recording = monitor.play_and_record(tone(frequency_hz, -26.0, seconds=0.8, rate=rate), sample_rate=rate)
    part = recording[round(0.4 * rate) : round(0.7 * rate)]
    truth = steady_state_harmonics(frequency_hz, -26.0, condition="desk", sample_rate=rate, with_tail=False)
    assert truth.frequency_hz == pytest.approx(frequency_hz, rel=1e-4)
    assert level_db_spl(part, frequency_hz, rate) == pytest.approx(truth.level_db_spl[0], abs=0.02)
    second = level_db_spl(part, 2 * frequency_hz, rate)
    assert second == pytest.approx(truth.level_db_spl[1], abs=0.05)


def test_level_in_the_middle_band_is_the_stated_one() -> None:
    """112 dB SPL at 1 m for 0 dBFS, linear and cold, power mean from 300 Hz to 3 kHz."""
    levels = [
        steady_state_harmonics(f, -60.0, orders=1, with_tail=False).level_db_spl[0] + 60.0
        for f in np.geomspace(300.0, 3000.0, 9)
    ]
    mean_db = 10 * math.log10(np.mean(10 ** (np.array(levels) / 10)))
    assert mean_db == pytest.approx(112.0, abs=0.3)  # box and break-up leave 0.3 dB
    assert np.ptp(levels) < 1.5  # a monitor is flat here


@pytest.mark.parametrize("rate", [44100, 48000, 96000])
def test_converters_pass_20_khz_unchanged(rate: int) -> None:
    """Level at 20 kHz is the same within 0.01 dB at every rate as at 192 kHz, where no slope is near."""
    reference = steady_state_harmonics(20000.0, -50.0, orders=1, sample_rate=192000, with_tail=False)
    here = steady_state_harmonics(20000.0, -50.0, orders=1, sample_rate=rate, with_tail=False)
    assert here.level_db_spl[0] == pytest.approx(reference.level_db_spl[0], abs=0.01)


def test_orders_above_the_band_are_not_numbers() -> None:
    truth = steady_state_harmonics(8000.0, -20.0, orders=5)
    assert np.isfinite(truth.level_db_spl[:2]).all()
    assert np.isnan(truth.level_db_spl[2:]).all()


def test_low_frequency_harmonics_fall_with_frequency() -> None:
    """Displacement falls by 12 dB an octave above the box (closed form of a mass), and with it what it bends."""
    third = [steady_state_harmonics(f, -16.0, orders=3, with_tail=False).relative_db[2] for f in (60.0, 100.0, 200.0)]
    assert third[0] > third[1] + 6 > third[2] + 12


def test_the_limiter_acts_at_102_and_not_at_96_db() -> None:
    quiet_db, loud_db = (steady_state_harmonics(300.0, drive, orders=1).limiter_gain_db for drive in (-16.0, -10.0))
    assert quiet_db == 0.0
    assert -4.0 < loud_db < -1.0


def test_the_port_compresses_at_its_tuning() -> None:
    """Quadratic loss: near 48 Hz output falls behind the drive more than at 300 Hz, before any limiter acts."""

    def change_db(frequency_hz: float) -> float:
        loud, soft = (
            steady_state_harmonics(frequency_hz, drive, orders=1, with_tail=False).level_db_spl[0]
            for drive in (-17.0, -47.0)
        )
        return float(loud - soft - 30.0)

    assert change_db(47.0) < -0.5
    assert abs(change_db(300.0)) < 0.15


def test_the_edge_of_the_cone_shows_in_the_third_order_at_400_hz() -> None:
    third = {
        f: steady_state_harmonics(f, -16.0, orders=3, with_tail=False).relative_db[2] for f in (250.0, 400.0, 640.0)
    }
    assert third[400.0] > max(third[250.0], third[640.0]) + 3.0


def test_desk_and_stand_differ_by_the_comb_alone() -> None:
    """`20 log10(1 - r)` at the first dip, where the desk's own size leaves r within 3 % of 0.78."""
    desk, stand = (
        steady_state_harmonics(1200.0, -36.0, orders=1, condition=c, with_tail=False).level_db_spl[0]
        for c in ("desk", "stand")
    )
    assert desk - stand == pytest.approx(20 * math.log10(1 - 0.78), abs=1.0)  # 3 % of r: 0.9 dB of 13.2


@pytest.mark.sample
def test_heat_carries_over_and_rest_takes_it_away() -> None:
    """5 s of a loud tone: coil `R P (1 - exp(-t/tau))` with P = u^2/R (closed form; the motional part of the impedance
    and the limiter's first milliseconds are left out), then cooling by `exp(-t/tau)`."""
    table = quiet(Parameters())
    monitor = SimulatedMonitor(parameters=table)
    playback = tone(400.0, -16.0, seconds=5.0)
    first = monitor.play_and_record(playback, sample_rate=RATE)
    warm = monitor.state.woofer
    coil = table.woofer.coil
    bl, mass = table.woofer.force_factor_tm, table.woofer.moving_mass_kg
    pa_per_v = 1.204 / (2 * math.pi) * table.woofer.area_m2 * bl / (coil.resistance_ohm * mass)
    power = (20e-6 * 10 ** (96 / 20) / pa_per_v) ** 2 / coil.resistance_ohm
    expected = coil.coil_k_per_w * power * (1 - math.exp(-5.0 / coil.coil_s)) * math.exp(-0.55 / coil.coil_s)
    # Heating lowers the power by 5 %, motion and inductance by 3 %, the crossover at 400 Hz by nothing.
    assert warm.coil_k == pytest.approx(expected, rel=0.09)
    again = monitor.play_and_record(playback, sample_rate=RATE)
    window = slice(round(0.3 * RATE), round(0.5 * RATE))
    drop_db = level_db_spl(again[window], 400.0) - level_db_spl(first[window], 400.0)
    copper_db = -20 * math.log10(1 + 0.00393 * warm.total_k)
    assert copper_db < -0.15
    assert drop_db == pytest.approx(copper_db, rel=0.09)  # 5 % of the impedance is not copper; 0.4 s lie between
    monitor.rest(3600.0)
    assert monitor.state.woofer.total_k < 0.01
    assert monitor.state.detector == 0.0 or monitor.state.detector < 1e-100


def test_a_frozen_state_is_heard_in_the_truth() -> None:
    """65.88 K is 2 dB (closed form, copper 0.393 %/K) where the coil alone counts; 0.1 dB for motion and inductance."""
    hot = State(woofer=Heat(coil_k=50.0, magnet_k=15.88), tweeter=Heat(coil_k=65.88))
    for frequency_hz in (500.0, 6000.0):
        warm, cold = (
            steady_state_harmonics(frequency_hz, -50.0, orders=1, state=state, with_tail=False).level_db_spl[0]
            for state in (hot, State())
        )
        assert warm - cold == pytest.approx(-2.0, abs=0.1)


def test_silence_holds_room_noise_at_its_level() -> None:
    """Pink room noise of 17 dB, hum and self noise of 13 dB add in power, 20 Hz to 20 kHz."""
    recording = SimulatedMonitor().play_and_record(np.zeros(4 * RATE), sample_rate=RATE)
    spectrum = np.abs(np.fft.rfft(recording)) ** 2 * 2 / recording.size**2
    hz = np.fft.rfftfreq(recording.size, 1 / RATE)
    total = 10 * math.log10(2 * spectrum[(hz >= 20) & (hz <= 20000)].sum()) + FULL_SCALE_SPL
    parts = [17.0, 13.0, 10.0, 13.0, 7.0]
    assert total == pytest.approx(10 * math.log10(sum(10 ** (p / 10) for p in parts)), abs=0.5)


@pytest.mark.parametrize(("db_spl", "frequency_hz"), [(94.0, 1000.0), (114.0, 250.0)])
def test_a_calibrator_reads_its_level(db_spl: float, frequency_hz: float) -> None:
    """128 dB SPL is full scale: 94 dB is -34 dBFS; noise 59 dB lower moves a 2 s reading by under 0.001 dB."""
    monitor = SimulatedMonitor()
    takes = [monitor.calibrator_recording(db_spl=db_spl, frequency_hz=frequency_hz, seconds=2.0) for _ in range(2)]
    assert level_db_spl(takes[0], frequency_hz) == pytest.approx(db_spl, abs=0.001)
    assert not np.array_equal(takes[0], takes[1])
    again = SimulatedMonitor().calibrator_recording(db_spl=db_spl, frequency_hz=frequency_hz, seconds=2.0)
    np.testing.assert_array_equal(again, takes[0])


@pytest.mark.parametrize(
    ("playback", "rate", "words"),
    [
        (np.zeros(0), RATE, "one channel"),
        (np.zeros((2, 100)), RATE, "one channel"),
        (np.full(100, np.nan), RATE, "not finite"),
        (np.full(100, 1.01), RATE, "full scale"),
        (np.zeros(100), 16000, "32000 Hz or more"),
    ],
)
def test_what_cannot_be_played_is_refused(playback: FloatArray, rate: int, words: str) -> None:
    with pytest.raises(SignalError, match=words):
        SimulatedMonitor().play_and_record(playback, sample_rate=rate)


def test_other_refusals() -> None:
    with pytest.raises(SignalError, match="rest"):
        SimulatedMonitor().rest(-1.0)
    with pytest.raises(SignalError, match="steady tone"):
        steady_state_harmonics(23000.0, -20.0)
    with pytest.raises(SignalError, match="steady tone"):
        steady_state_harmonics(1000.0, 3.0)


def test_a_woofer_driven_beyond_sense_is_an_error() -> None:
    """30 dB more than full scale, and no limiter: the cone would leave the box."""
    table = Parameters()
    wild = dataclasses.replace(
        table,
        electronics=dataclasses.replace(table.electronics, full_scale_db_spl=142.0),
        limiter=dataclasses.replace(table.limiter, threshold_db_spl=300.0),
    )
    with pytest.raises(RecordingError, match="did not settle"):
        steady_state_harmonics(30.0, 0.0, parameters=wild)


@settings(max_examples=8, deadline=None, derandomize=True)
@given(frequency_hz=st.floats(20.0, 20000.0), drive_dbfs=st.floats(-60.0, 0.0))
def test_every_tone_up_to_full_scale_settles(frequency_hz: float, drive_dbfs: float) -> None:
    truth = steady_state_harmonics(frequency_hz, drive_dbfs, orders=2)
    assert truth.frequency_hz == pytest.approx(frequency_hz, rel=3e-4)
    assert np.isfinite(truth.level_db_spl[0])
