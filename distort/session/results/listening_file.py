"""Sounds to listen to in results/listening: each a FLAC file with a record of what it is beside it."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.session.audio.audio_file import write_audio
from distort.session.files.atomic import make_folder, write_text
from distort.session.files.folder import SessionFolder
from distort.session.files.json_fields import json_text

DITHER_SEED = 0


def write_listening(
    folder: SessionFolder, stem: str, samples: npt.NDArray[np.float64], *, sample_rate: int, record: Mapping[str, Any]
) -> Path:
    """Write results/listening/<stem>.flac and .json, replacing those of an earlier run; returns where the sound is.

    record   what the sound is and where it comes from: kept beside it

    Raises SessionError when the folder does not allow it.
    """
    path = folder.inside("results", "listening", f"{stem}.flac")
    make_folder(path.parent)
    # the record first: no sound is ever there of which nothing says what it is
    write_text(path.with_suffix(".json"), json_text({"format": 1, **record}, path.with_suffix(".json")))
    write_audio(path, samples, sample_rate, dither_seed=DITHER_SEED, replace=True)
    return path
