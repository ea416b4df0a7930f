"""Made-up results of a session on disk, of which every table is known, for tests of what reads them."""

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np

GRID_HZ = 1000.0 * 10.0 ** (np.arange(-136, 105) / 80.0)
THIRDS_HZ = 1000.0 * 10.0 ** (np.arange(-14, 14) / 10.0)
LEVELS = (81.0, 91.0)


def bump(frequency_hz: np.ndarray, at_hz: float, height_db: float, octaves: float = 0.15) -> np.ndarray:
    """A smooth rise of so many dB about one frequency."""
    return height_db * np.exp(-0.5 * np.square(np.log2(frequency_hz / at_hz) / octaves))


def finding(explanation: str, at_hz: float, **said: Any) -> dict[str, Any]:
    """A finding at one place, whole and within every length, with `said` in the place of what it says otherwise."""
    made = {
        "number": 1,
        "explanation": explanation,
        "also": [],
        "decided": explanation != "undecided",
        "probability": 0.9,
        "headline": f"{explanation} at {at_hz:.0f} Hz",
        "places": [{"frequency_hz": at_hz, "low_hz": 0.9 * at_hz, "high_hz": 1.1 * at_hz}],
        "part_of_loudspeaker": None,
        "numbers": {},
        "evidence": [],
        "against": [],
        "audible": {"verdict": "no", "at_db_spl": LEVELS[-1]},
        "sentence": f"There is something at {at_hz:.0f} Hz.",
        "next": {"text": "Look at it.", "command": "distort show monitor response"},
    }
    return {**made, **said}


def row(quantity: str, at_hz: float, rise_db: float, **said: Any) -> dict[str, Any]:
    """A row of evidence that speaks for its finding."""
    made = {
        "quantity": quantity,
        "stimulus": "sweep" if quantity.startswith("h") else "multitone",
        "level_db_spl": LEVELS[-1],
        "frequency_hz": at_hz,
        "rise_db": rise_db,
        "interval_db": 0.5,
        "speaks": "for",
    }
    return {**made, **said}


class MadeResults:
    """A session of flat curves, into which a test puts bumps before it is written.

    orders      dB re the fundamental at each level, and their floors
    change      of the sweep at the upper level, dB
    even        of the multitone, dB re the tones
    """

    def __init__(self, root: Path, condition: str = "desk") -> None:
        self.root, self.condition = root, condition
        self.response = np.full(GRID_HZ.size, 0.0)
        self.orders = {(order, level): np.full(GRID_HZ.size, -60.0) for order in (2, 3, 4) for level in LEVELS}
        self.floors = dict.fromkeys(self.orders, -90.0)
        self.bias = dict.fromkeys(self.orders, np.zeros(GRID_HZ.size))
        self.change = np.zeros(GRID_HZ.size)
        self.even = {level: np.full(THIRDS_HZ.size, -50.0) for level in LEVELS}
        self.heating_db = 0.0

    def write(self, *findings: dict[str, Any]) -> Path:
        """Write results/<condition> and a sweep's sidecar; findings are numbered as they come."""
        folder = self.root / "results" / self.condition
        folder.mkdir(parents=True)
        for level in LEVELS:
            response = level + self.response
            _table(folder / f"response_{level:.0f}dB.csv", {"frequency_hz": GRID_HZ, "level_db_spl": response})
            columns = {"frequency_hz": GRID_HZ, "fundamental_db_spl": response}
            for order in (2, 3, 4):
                ratio = self.orders[order, level]
                columns[f"h{order}_db"] = ratio
                columns[f"h{order}_noise_db"] = np.full(GRID_HZ.size, self.floors[order, level])
                columns[f"h{order}_bias_db"] = self.bias[order, level]
                columns[f"h{order}_uncertainty_db"] = np.full(GRID_HZ.size, 0.2)
                columns[f"h{order}_db_spl"] = ratio + response
            _table(folder / f"harmonics_{level:.0f}dB.csv", columns)
            tones = np.interp(THIRDS_HZ, GRID_HZ, response)
            even = {"even_db": self.even[level], "even_uncertainty_db": np.full(THIRDS_HZ.size, 0.2)}
            odd = {"odd_db": np.full(THIRDS_HZ.size, -55.0), "odd_uncertainty_db": np.full(THIRDS_HZ.size, 0.2)}
            columns = {"frequency_hz": THIRDS_HZ, "level_db_spl": tones, **even, **odd}
            _table(folder / f"multitone_{level:.0f}dB.csv", columns)
        upper = f"change_{LEVELS[-1]:.0f}db"
        uncertain = {f"{upper}_uncertainty": np.full(GRID_HZ.size, 0.05), f"{upper}_bias": np.zeros(GRID_HZ.size)}
        _table(folder / "compression_sweep.csv", {"frequency_hz": GRID_HZ, upper: self.change, **uncertain})
        octave = {"heating_db": self.heating_db, "heating_uncertainty_db": 0.05}
        document = {
            "findings": [{**one, "number": number} for number, one in enumerate(findings, 1)],
            "compression": [{"source": "sweep", "octaves": [octave]}],
            "multitones": [{"warm_up": []}],
        }
        (folder / "findings.json").write_text(json.dumps(document), encoding="utf-8")
        beside = self.root / "recordings" / self.condition / "sweep_81dB.json"
        beside.parent.mkdir(parents=True)
        sweep = {"start_hz": 20.0, "stop_hz": 20000.0, "seconds": 4.0}
        beside.write_text(json.dumps({"stimulus": sweep}), encoding="utf-8")
        return self.root


def _table(path: Path, columns: dict[str, np.ndarray]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        writer.writerows(zip(*columns.values(), strict=True))
