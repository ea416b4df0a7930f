"""Recordings of quick loudspeakers, clean or with one fault injected by arithmetic, drawn at random from a seed."""

import math
from dataclasses import dataclass, replace

import numpy as np

from signals import Multitone, Reel, Sweep, framed
from signals.levels import FULL_SCALE_SINE_RMS, db_to_amplitude
from tests.devices.quick_loudspeaker import RATE, QuickLoudspeaker, by_another_clock, room_noise

FloatArray = np.ndarray

FAULTS = ("clipping", "dropped", "repeated", "hum", "gain", "stimulus", "cut_off", "channel")
"""As the finding is called that must name it."""

SWEEP_SECONDS = (3.0, 3.0, 3.0, 5.0, 5.0, 10.0)


@dataclass(frozen=True, kw_only=True)
class Made:
    """A recording and what is said of it."""

    reel: Reel
    """What the tester says was played."""
    samples: FloatArray
    start: int
    """First sample of the stimulus, about."""
    about: str


def _stimulus(random: np.random.Generator) -> Sweep | Multitone:
    drive_dbfs = float(random.uniform(-40.0, -14.0))
    if random.random() < 0.65:
        return Sweep(seconds=float(random.choice(SWEEP_SECONDS)), drive_dbfs=drive_dbfs)
    return Multitone(period_s=0.5, low_hz=80.0, seed=int(random.integers(100)), drive_dbfs=drive_dbfs)


def _loudspeaker(random: np.random.Generator) -> QuickLoudspeaker:
    return QuickLoudspeaker(
        resonance_hz=float(random.uniform(45.0, 110.0)),
        q=float(random.uniform(0.6, 1.4)),
        crossover_hz=float(random.uniform(1500.0, 3500.0)),
        loud=float(db_to_amplitude(random.uniform(-20.0, 3.0))),
        second=float(random.uniform(0.0, 0.1)),
        third=float(random.uniform(0.0, 0.05)),
        tweeter_second=float(random.uniform(0.0, 0.02)),
        heat_db=float(random.uniform(0.0, 3.0)),
        heat_s=float(random.uniform(3.0, 30.0)),
        rt60_s=float(random.uniform(0.1, 0.6)),
        drr_db=float(random.uniform(-6.0, 15.0)),
        seed=int(random.integers(2**31)),
    )


def _recorded(random: np.random.Generator, reel: Reel, speaker: QuickLoudspeaker) -> tuple[FloatArray, int]:
    """What a recorder writes: the answer, perhaps by another clock, with room noise and silence about it; and the
    latter's length before it."""
    stimulus = reel.only_stimulus()[1]
    rms = FULL_SCALE_SINE_RMS * float(db_to_amplitude(stimulus.drive_dbfs))
    around = random.integers(RATE // 10, RATE // 2, size=2)
    answer = speaker.answer(np.pad(reel.samples(), around), drive_rms=rms)
    if random.random() < 0.3:
        answer = by_another_clock(answer, float(random.uniform(-100.0, 100.0)))
    noise = room_noise(random, answer.size, pink_share=float(random.uniform(0.3, 0.95)))
    noise_rms = rms * float(db_to_amplitude(-random.uniform(40.0, 75.0)))
    return answer + noise_rms * noise, int(around[0])


def clean(seed: int) -> Made:
    """A recording without a fault, with headroom, before it is converted (`converted`)."""
    random = np.random.default_rng([seed, 0])
    reel = framed(_stimulus(random))
    speaker = _loudspeaker(random)
    samples, lead = _recorded(random, reel, speaker)
    samples = samples * float(db_to_amplitude(random.uniform(-30.0, -2.0))) / float(np.max(np.abs(samples)))
    start = lead + reel.only_stimulus()[0]
    return Made(reel=reel, samples=samples, start=start, about=f"{speaker} {reel.only_stimulus()[1]}")


def converted(samples: FloatArray, seed: int) -> FloatArray:
    """As a converter of 24 or 16 bits writes it: its own noise of one and a half steps or -108 dBFS, rounded, held."""
    random = np.random.default_rng([seed, 1])
    bits = 24 if random.random() < 0.7 else 16
    noise = max(FULL_SCALE_SINE_RMS * float(db_to_amplitude(-108.0)), 0.5 * 2.0 ** (1 - bits))
    steps = 2.0 ** (bits - 1)
    rounded = np.round((samples + noise * random.standard_normal(samples.size)) * steps) / steps
    return np.asarray(np.clip(rounded, -1.0, 1.0 - 1.0 / steps))


def faulty(made: Made, fault: str, seed: int) -> Made:
    """`made` with `fault` in it; not yet converted."""
    random = np.random.default_rng([seed, 2])
    return _INJECTED[fault](made, random)


def _with(made: Made, samples: FloatArray, about: str) -> Made:
    return replace(made, samples=samples, about=f"{about}; {made.about}")


def _clipping(made: Made, random: np.random.Generator) -> Made:
    """Held at a share of its peak; half of them at full scale, the others below it."""
    height = float(random.uniform(0.4, 0.98)) * float(np.max(np.abs(made.samples)))
    held = np.clip(made.samples, -height, height)
    if random.random() < 0.5:
        held = held * (1.0 / height)
    return _with(made, held, f"clipped at {height:.3f}")


def _place(made: Made, random: np.random.Generator, low: float, high: float) -> int:
    return made.start + round(float(random.uniform(low, high)) * made.reel.only_stimulus()[1].n_samples)


def _some_samples(random: np.random.Generator) -> int:
    """1 to 2,048; the sizes of buffers as often as any other."""
    if random.random() < 0.4:
        return int(random.choice([64, 128, 256, 512, 1024, 2048]))
    return round(math.exp(random.uniform(0.0, math.log(2048.0))))


def _dropped(made: Made, random: np.random.Generator) -> Made:
    place, count = _place(made, random, 0.02, 0.98), _some_samples(random)
    return _with(made, np.delete(made.samples, slice(place, place + count)), f"{count} dropped at {place}")


def _repeated(made: Made, random: np.random.Generator) -> Made:
    place, count = _place(made, random, 0.02, 0.98), _some_samples(random)
    twice = np.insert(made.samples, place, made.samples[place - count : place])
    return _with(made, twice, f"{count} repeated at {place}")


def _hum(made: Made, random: np.random.Generator) -> Made:
    """50 or 60 Hz and some multiples, together 12 to 45 dB below the stimulus."""
    mains_hz = float(random.choice([50.0, 60.0])) * (1.0 + float(random.uniform(-0.002, 0.002)))
    time_s = np.arange(made.samples.size) / RATE
    hum = np.zeros(made.samples.size)
    for order in range(1, 1 + int(random.integers(1, 7))):
        strength = float(db_to_amplitude(random.uniform(-20.0, 0.0)))
        hum += strength * np.sin(2.0 * np.pi * (order * mains_hz * time_s + random.random()))
    stimulus = made.samples[made.start : made.start + made.reel.only_stimulus()[1].n_samples]
    below_db = float(random.uniform(12.0, 45.0))
    rms = float(np.std(stimulus)) * float(db_to_amplitude(-below_db))
    return _with(made, made.samples + hum * (rms / float(np.std(hum))), f"hum {below_db:.1f} dB below")


def _gain(made: Made, random: np.random.Generator) -> Made:
    step_db = float(random.choice([-1.0, 1.0])) * 0.2 * 10.0 ** float(random.uniform(0.0, 1.2))
    place = _place(made, random, 0.1, 0.9)
    turned = made.samples.copy()
    turned[place:] *= float(db_to_amplitude(step_db))
    return _with(made, turned, f"gain {step_db:+.2f} dB at {place}")


def _wrong_stimulus(made: Made, random: np.random.Generator) -> Made:
    """The tester names another one than was played: of another length, another kind, or other phases."""
    played = made.reel.only_stimulus()[1]
    others: list[Sweep | Multitone] = [
        Sweep(seconds=seconds, drive_dbfs=played.drive_dbfs)
        for seconds in (2.5, 3.0, 5.0, 6.0, 10.0)
        if not (isinstance(played, Sweep) and played.seconds == seconds)
    ]
    others.append(Multitone(period_s=0.5, low_hz=80.0, seed=1000, drive_dbfs=played.drive_dbfs))
    if isinstance(played, Multitone):  # half of them the same tones
        others = others[:2] + [replace(played, seed=played.seed + 1 + number) for number in range(3)]
    said = others[int(random.integers(len(others)))]
    return _with(replace(made, reel=framed(said)), made.samples, f"said {said}")


def _cut_off(made: Made, random: np.random.Generator) -> Made:
    """Ends 20 ms to 70 % of the stimulus before it is over."""
    length = made.reel.only_stimulus()[1].n_samples
    missing = round(math.exp(random.uniform(math.log(0.02 * RATE), math.log(0.7 * length))))
    return _with(made, made.samples[: made.start + length - missing], f"{missing} missing")


def _wrong_channel(made: Made, random: np.random.Generator) -> Made:
    """The loopback, or one with the noise of its input alone."""
    if random.random() < 0.5:
        played = np.pad(made.reel.samples(), random.integers(RATE // 10, RATE // 2, size=2))
        played = played * float(db_to_amplitude(random.uniform(-6.0, 6.0)))
        if random.random() < 0.5:  # converters that turn the polarity are common
            played = -played
        noise = FULL_SCALE_SINE_RMS * float(db_to_amplitude(random.uniform(-105.0, -85.0)))
        return _with(made, played + noise * random.standard_normal(played.size), "loopback")
    level = FULL_SCALE_SINE_RMS * float(db_to_amplitude(random.uniform(-80.0, -40.0)))
    noise = room_noise(random, made.samples.size, pink_share=float(random.uniform(0.0, 1.0)))
    return _with(made, level * noise, "noise alone")


_INJECTED = {
    "clipping": _clipping,
    "dropped": _dropped,
    "repeated": _repeated,
    "hum": _hum,
    "gain": _gain,
    "stimulus": _wrong_stimulus,
    "cut_off": _cut_off,
    "channel": _wrong_channel,
}
