"""The page of the blind test as one file: sounds, script and words, and nothing that it asks any address for."""

import base64
import hashlib
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.hearing.loudness import k_weighting
from distort.report.page.rendering import rendered
from distort.report.text.blind import caution_sentences, made_words, warning_sentences
from distort.session.audio.embedded import ENCODERS, flac_bytes
from distort.session.results.blind_results import PairKind
from distort.session.results.heard_files import Source

FloatArray = npt.NDArray[np.float64]

POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
)
"""The page asks no address for anything, and the browser holds it to that (Content Security Policy Level 3)."""

TRIALS = 16
"""Of a run, fixed before it begins: 12 right are more than guessing at 5 %, and 16 take some five minutes."""

HIGHEST_PEAK = 10.0 ** (-1.0 / 20.0)
"""-1 dBFS: no sound in the page is over it."""

MOST_SOUND_BYTES = 8_600_000
"""Of all sounds as FLAC: in base 64 they take a third more, and the page stays under 12 MB."""

MUCH_TOO_LARGE = 1.2
"""Times as much as may be: where the first sounds foretell more, the others are not encoded to be thrown away."""

LEAST_S = 3.0
"""Of a sound: the shortest loop."""


class TooManySoundsError(ValueError):
    """The sounds take more than a page holds, each cut to the shortest loop."""


@dataclass(frozen=True, kw_only=True, eq=False)
class BlindPair:
    """Two sounds that a listener may tell apart, sample by sample in step."""

    pair: str
    """Its name in the files of listeners, such as "desk_96dB_distortion"."""
    title: str
    words: str
    """One or two sentences on what differs."""
    a: str
    b: str
    """What each side is, in two or three words."""
    samples_a: FloatArray
    samples_b: FloatArray
    """`(n,)` each, full scale 1."""
    sample_rate: int
    condition: str
    level_db_spl: float
    source: Source
    simulated: bool
    kind: PairKind
    frequency_hz: float | None = None
    """Of the dip, where one makes the difference."""


@dataclass(frozen=True, kw_only=True)
class BlindPage:
    """The page, and what tells its test from every other."""

    html: str
    test: str
    """SHA-256 of what it offers, sounds and all."""


def blind_page(pairs: Sequence[BlindPair], *, loudspeaker: str, software: str, credit: str = "") -> BlindPage:
    """The page that offers `pairs`, in this order. Sounds that would make it too large are cut to their beginning.

    credit   whose music it is, and by which licences; "": nobody says

    Raises TooManySoundsError for more than one page holds, ValueError for no pair, sides of different lengths or less
    than 3 s.
    """
    if not pairs:
        raise ValueError("a blind test needs a pair of sounds")
    names, sounds = _sounds(pairs)
    offered = [_offered(pair, sides) for pair, sides in zip(pairs, names, strict=True)]
    digests = [hashlib.sha256(flac).hexdigest() for flac, _ in sounds.values()]
    identity = json.dumps([loudspeaker, TRIALS, offered, digests])
    test = {
        "test": hashlib.sha256(identity.encode()).hexdigest(),
        "loudspeaker": loudspeaker,
        "software": software,
        "trials": TRIALS,
        "pairs": offered,
        "weightings": {str(rate): k_weighting(rate).tolist() for _, rate in sounds.values()},
    }
    html = rendered(
        "blind.html.j2",
        policy=POLICY,
        test=test,
        credit=credit,
        warnings=list(warning_sentences(pair.simulated for pair in pairs)),
        cautions=list(caution_sentences(pair.source for pair in pairs)),
        pairs=[
            {
                "pair": pair.pair,
                "title": pair.title,
                "words": pair.words,
                "made": made_words(pair.source, pair.level_db_spl, pair.condition, simulated=pair.simulated),
            }
            for pair in pairs
        ],
        sounds=[
            {"id": name, "rate": rate, "flac": base64.b64encode(flac).decode("ascii")}
            for name, (flac, rate) in sounds.items()
        ],
    )
    return BlindPage(html=html, test=str(test["test"]))


def _offered(pair: BlindPair, sides: tuple[str, str]) -> dict[str, object]:
    """What the page's script, and the file of a listener, says of a pair."""
    said = ("pair", "kind", "frequency_hz", "title", "a", "b", "condition", "level_db_spl", "source", "simulated")
    return {**{name: getattr(pair, name) for name in said}, "rate": pair.sample_rate, "sounds": sides}


def _sounds(pairs: Sequence[BlindPair]) -> tuple[list[tuple[str, str]], dict[str, tuple[bytes, int]]]:
    """Names of the two sounds of each pair, and each sound once, as FLAC with its rate, by name."""
    share = 1.0
    while True:
        names, sounds = _distinct(pairs, share)
        shortest = all(share * pair.samples_a.size <= LEAST_S * pair.sample_rate for pair in pairs)
        encoded, size = _encoded(sounds, math.inf if shortest else MUCH_TOO_LARGE * MOST_SOUND_BYTES)
        if size <= MOST_SOUND_BYTES:
            return names, encoded
        if shortest:
            many = f"{len(sounds)} sounds of {LEAST_S:g} s"
            raise TooManySoundsError(f"{many} are too many for one page: offer fewer pairs")
        share *= 0.95 * MOST_SOUND_BYTES / size


def _encoded(
    sounds: Mapping[str, tuple[FloatArray, int]], most_bytes: float
) -> tuple[dict[str, tuple[bytes, int]], float]:
    """Each sound as FLAC with its rate, and how many bytes all of them take, as those that are encoded foretell it:
    no more are once that is over `most_bytes`."""
    encoded: dict[str, tuple[bytes, int]] = {}
    size = 0.0
    with ThreadPoolExecutor(ENCODERS) as pool:
        flacs = pool.map(lambda one: flac_bytes(*one), sounds.values())
        for (name, (_, rate)), flac in zip(sounds.items(), flacs, strict=True):
            encoded[name] = flac, rate
            size = sum(len(flac) for flac, _ in encoded.values()) * len(sounds) / len(encoded)
            if size > most_bytes:
                pool.shutdown(cancel_futures=True)
                break
    return encoded, size


def _distinct(
    pairs: Sequence[BlindPair], share: float
) -> tuple[list[tuple[str, str]], dict[str, tuple[FloatArray, int]]]:
    """The names, and the first `share` of each sound as it is to be heard, with its rate."""
    names: list[tuple[str, str]] = []
    found: dict[bytes, str] = {}
    sounds: dict[str, tuple[FloatArray, int]] = {}
    for pair in pairs:
        sides = []
        for samples in _ready(pair, share):
            name = found.setdefault(hashlib.sha256(samples.tobytes()).digest(), f"sound-{len(found)}")
            sounds.setdefault(name, (samples, pair.sample_rate))
            sides.append(name)
        names.append((sides[0], sides[1]))
    return names, sounds


def _ready(pair: BlindPair, share: float) -> Iterator[FloatArray]:
    """Both sides, cut, and turned down by the same gain where a peak is over -1 dBFS."""
    sides = (pair.samples_a, pair.samples_b)
    if sides[0].shape != sides[1].shape:
        raise ValueError(f"{pair.pair}: the two sides differ in length")
    n = max(int(share * sides[0].size), min(sides[0].size, round(LEAST_S * pair.sample_rate)))
    if n < LEAST_S * pair.sample_rate:
        raise ValueError(f"{pair.pair}: {n / pair.sample_rate:.2g} s are shorter than the shortest loop, {LEAST_S:g} s")
    peak = max(float(np.max(np.abs(side))) for side in sides)
    for side in sides:
        yield side[:n] * min(1.0, HIGHEST_PEAK / peak if peak > 0.0 else 1.0)
