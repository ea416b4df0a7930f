"""Loudspeakers that rattle, buzz, blow, clip or only distort, in rooms, and what is told of them by their sweeps.

Seeds under 1,000 are those with which the method was tuned; thresholds are set on noise of seeds from 10,000 on and
alarms counted on others.

    python -m tests.impulsive_study rattle,buzz,port --first 30000 --count 200
    python -m tests.impulsive_study noise --first 20000 --count 1000
"""

import argparse
import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from distort.analysis.impulsive.heard import CyclesHeard, cycles_heard, standing_out
from distort.analysis.impulsive.impulsive import ALONE, BESIDE, ImpulsiveResult, Listening, impulsive
from distort.analysis.sweep.beyond import beyond_orders
from distort.analysis.sweep.deconvolution import deconvolve
from distort.analysis.sweep.noise import noise_density
from tests.devices.restless import SILENCE_S, Heard, Restless, loudspeaker, with_event

FIRST_REPORTED = 30_000
LONGEST_S = 10.0
"""Of a sweep: a longer one shows more, and takes longer to make."""

LEVEL_DB_SPL = 96.0
EXPECTED = {"rattle": "rattle", "buzz": "rub", "port": "airflow-noise", "clipping": "rub"}
"""What a kind of device is to be called."""

HARMLESS = ("orders", "clipping", "hum", "click", "door", "nothing")
"""What must not be called a rattle."""


@dataclass(frozen=True)
class Told:
    """What came out of one device: the kind at its clearest place, "" where nothing was confirmed."""

    made: str
    kind: str
    kinds: tuple[str, ...]
    """Of all places."""


def device(seed: int, own: str) -> Restless:
    made = loudspeaker(seed, own)
    return replace(made, sweep=replace(made.sweep, seconds=min(made.sweep.seconds, LONGEST_S)))


def listened(heard: Heard) -> CyclesHeard:
    rate = heard.sweep.sample_rate
    silence = heard.samples[: round((SILENCE_S - 0.05) * rate)]
    deconvolved = deconvolve(heard.samples, heard.sweep, start=heard.start)
    return cycles_heard(beyond_orders(deconvolved), noise_density([silence], sample_rate=rate))


def of_noise(seed: int) -> tuple[float, float]:
    """The largest z of a recording of nothing but noise, and the largest that two neighbours have both."""
    made = device(seed, "nothing")
    n = made.sweep.n_samples + 2 * round(SILENCE_S * made.sweep.sample_rate)
    noise = made.noise(n, np.random.default_rng([seed, 1]))
    heard = listened(Heard(noise, float(round(SILENCE_S * made.sweep.sample_rate)), made.sweep))
    z = standing_out(heard, np.ones(heard.powers.shape[0], dtype=bool))
    return float(np.max(z)), float(np.max(np.minimum(z[1:], z[:-1])))


def told(seed: int, made: str) -> Told:
    """Two recordings of a device: two takes, or a sweep and a short one."""
    own = made if made in EXPECTED else "nothing"
    loudspeaker_ = device(seed, own)
    short = bool(seed % 2)
    first = _with(loudspeaker_.heard(1), loudspeaker_, made, seed)
    second = _with(loudspeaker_.heard(2, short=short), loudspeaker_, made, None)
    result = impulsive(
        [
            Listening(level_db_spl=LEVEL_DB_SPL, heard=listened(first)),
            Listening(level_db_spl=LEVEL_DB_SPL, heard=listened(second), short=short),
        ]
    )
    return _told(made, result)


def _told(made: str, result: ImpulsiveResult) -> Told:
    places = sorted(result.places, key=lambda one: -one.z)
    return Told(made, places[0].kind if places else "", tuple(one.kind for one in places))


def _with(heard: Heard, made: Restless, kind: str, seed: int | None) -> Heard:
    """The recording with orders to 10, hum, or an event (of `seed`; None: another take has none)."""
    if kind in ("click", "door") and seed is not None:
        return with_event(heard, made, kind, seed)[0]
    fixed = np.random.default_rng([made.seed, 4242])
    sweep, rate = heard.sweep, heard.sweep.sample_rate
    if kind == "hum":
        time_s = np.arange(heard.samples.size) / rate
        hum = sum(
            fixed.uniform(0.3, 1.0) * np.sin(2.0 * np.pi * 50.0 * n * time_s + fixed.uniform(0.0, 6.0))
            for n in range(1, 60)
        )
        return replace(heard, samples=heard.samples + 3.0 * made.floor_rms() * hum)
    if kind != "orders":
        return heard
    growth = np.exp(np.arange(sweep.n_samples) / (rate * sweep.rate_s))
    phase = 2.0 * np.pi * sweep.start_hz * sweep.rate_s * (growth - 1.0)
    samples = heard.samples.copy()
    for n in range(2, 11):
        below = np.clip((0.48 * rate - n * sweep.start_hz * growth) / 4000.0, 0.0, 1.0)
        level = 10.0 ** (fixed.uniform(-60.0, -25.0) / 20.0)
        order = level * np.sin(n * phase + fixed.uniform(0.0, 6.0)) * np.sin(0.5 * math.pi * below) ** 2
        first = round(heard.start)
        samples[first : first + order.size] += 0.5 * order * sweep.envelope(sweep.start_hz * growth)
    return replace(heard, samples=samples)


def table(found: Iterable[Told]) -> str:
    """A row a kind of device: how many were called what."""
    count = Counter((one.made, one.kind or "nothing") for one in found)
    called = ("rattle", "rub", "airflow-noise", "high-orders", "undecided", "nothing")
    lines = ["    " + " ".join(f"{word:>14}" for word in ("", *called))]
    for made in dict.fromkeys(made for made, _ in count):
        lines.append("    " + " ".join(f"{word!s:>14}" for word in (made, *(count[made, kind] for kind in called))))
    return "\n".join(lines)


def right_share(found: Iterable[Told]) -> float:
    """Share of the devices called something that are called what they are; "undecided" and orders call nothing."""
    called = [one for one in found if one.kind in ("rattle", "rub", "airflow-noise")]
    return sum(one.kind == EXPECTED[one.made] for one in called) / max(len(called), 1)


def noise_alarms(first: int, count: int) -> tuple[float, float, int]:
    """The largest z of noise, alone and with a neighbour, and how many of so many recordings alarm."""
    found = [of_noise(seed) for seed in range(first, first + count)]
    alone, beside = (max(one[place] for one in found) for place in (0, 1))
    return alone, beside, sum(one[0] > ALONE or one[1] > BESIDE for one in found)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("made", type=lambda words: words.split(","))
    parser.add_argument("--first", type=int, default=FIRST_REPORTED)
    parser.add_argument("--count", type=int, default=200)
    asked = parser.parse_args()
    if asked.made == ["noise"]:
        alone, beside, alarms = noise_alarms(asked.first, asked.count)
        print(f"{asked.count} of noise: z up to {alone:.2f}, with a neighbour {beside:.2f}; {alarms} alarm", flush=True)
        return
    found = []
    for seed in range(asked.first, asked.first + asked.count):
        for made in asked.made:
            found.append(told(seed, made))
            print(f"{seed} {found[-1]}", flush=True)
    print(table(found))


if __name__ == "__main__":
    main()
