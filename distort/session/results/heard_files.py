"""What `distort hear` writes: sounds and a figure in results/listening, and the record that names them.

    results/listening/<condition>_<level>dB_<part>.flac, .png, .json             of recorded music
    results/listening/<condition>_<level>dB_synthesised_<part>.flac, .png, .json

The record stands there before any sound does, so no sound is there of which nothing says what it is; a kill in between
leaves files that are not as the record says, and `as_written` finds them.
"""

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from distort import system
from distort.errors import SessionError
from distort.session.audio.audio_file import encoder
from distort.session.audio.embedded import ENCODERS
from distort.session.files.atomic import make_folder, staged
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import is_file_of, sha256_of_file
from distort.session.files.json_fields import read_json, write_json
from distort.session.files.names import format_level

Source = Literal["recorded", "synthesised"]

INTENDED, DELIVERED, REMAINDER = "intended", "delivered", "remainder"
NO_DISTORTION, NO_COMPRESSION = "no-distortion", "no-compression"

DITHER_SEED = 0


@dataclass(frozen=True, kw_only=True)
class NamedFile:
    """A file in results/listening, or a recording relative to the session; and its SHA-256."""

    file: str
    sha256: str


@dataclass(frozen=True, kw_only=True)
class SoundFile(NamedFile):
    """One sound. All of a record begin at the same sample and have the same length."""

    part: str
    """"intended", "delivered", "remainder", "no-distortion" or "no-compression"."""
    raised_db: float
    """By how much it is louder than the others stand to one another; 0: not at all."""


@dataclass(frozen=True, kw_only=True)
class Heard:
    """What the sounds are and where they come from."""

    source: Source
    simulated: bool
    """No real loudspeaker was heard."""
    loudspeaker: str
    condition: str
    level_db_spl: float
    """Nominal, of the loud recording."""
    quiet_db_spl: float | None
    """Nominal, of the recording that it was held against; None: synthesised."""
    credit: str
    """Whose music it is, as the plan says; "": it does not."""
    licence: str
    """Of the music; "": nobody stated one, and none of the sounds may leave the session."""
    programme_sha256: str | None
    """Of the file of the music; None: the piece that this program makes."""
    sample_rate: int
    n_samples: int
    full_scale_db_spl: float | None
    """What a sine at digital full scale in the sounds stood for at 1 m, those that are not raised; None: no
    calibration."""
    recordings: tuple[NamedFile, ...]
    """Of which the sounds were made."""
    silent: tuple[str, ...]
    """Parts of the remainder that lie below their floor everywhere, so that nothing of them is in the sounds."""
    sounds: tuple[SoundFile, ...] = ()
    figures: tuple[NamedFile, ...] = ()

    @property
    def stem(self) -> str:
        """The beginning of the names of its files."""
        return heard_stem(self.condition, self.level_db_spl, self.source)

    @property
    def files(self) -> tuple[NamedFile, ...]:
        """All that it names in results/listening."""
        return (*self.sounds, *self.figures)

    def sound(self, part: str, *, raised: bool = False) -> SoundFile | None:
        """The sound of a part, as it is or raised; None where it is not there."""
        return next((one for one in self.sounds if one.part == part and (one.raised_db > 0.0) == raised), None)


@dataclass(frozen=True, kw_only=True, eq=False)
class Sound:
    """A sound that is to be written: `(n_samples,)`, full scale 1."""

    part: str
    samples: npt.NDArray[np.float64]
    raised_db: float = 0.0


def heard_stem(condition: str, level_db_spl: float, source: Source) -> str:
    """The beginning of the names of files: "desk_96dB". Raises SessionError for a level that no name can hold."""
    return f"{condition}_{format_level(level_db_spl)}dB{'' if source == 'recorded' else '_synthesised'}"


def sound_name(stem: str, part: str, raised_db: float) -> str:
    """Name of the file of a sound: "desk_96dB_remainder_plus30dB.flac"."""
    raised = f"_plus{raised_db:g}dB" if raised_db else ""
    return f"{stem}_{part}{raised}.flac"


def write_heard(
    folder: SessionFolder,
    heard: Heard,
    sounds: Sequence[Sound],
    *,
    tags: Mapping[str, str],
    figure_png: Callable[[], bytes],
) -> Heard:
    """Write the sounds (24-bit FLAC, dithered), the figure and the record of them; those of an earlier run go.

    heard       without its files
    tags        what players show of each sound: title (its part is added), artist, copyright, comment
    figure_png  gives the figure; asked once the sounds are encoded, so that it may be drawn meanwhile

    Returns the record with its files. Raises SessionError when the folder does not allow it, or something else is
    called as the record is to be.
    """
    record = folder.inside("results", "listening", f"{heard.stem}.json")
    make_folder(record.parent)
    earlier = _written_earlier(record)
    with ExitStack() as stack:
        named = [record.with_name(sound_name(heard.stem, one.part, one.raised_db)) for one in sounds]
        places = [stack.enter_context(staged(path, replace=True)) for path in named]

        def encoded(sound: Sound, path: Path, temporary: Path) -> SoundFile:
            said = {**tags, "title": f"{tags['title']}: {path.stem.removeprefix(heard.stem + '_')}"}
            encoder(path, sound.samples, heard.sample_rate, dither_seed=DITHER_SEED, tags=said)(temporary)
            digest = sha256_of_file(temporary)
            return SoundFile(part=sound.part, raised_db=sound.raised_db, file=path.name, sha256=digest)

        with ThreadPoolExecutor(ENCODERS) as pool:
            written = tuple(pool.map(encoded, sounds, named, places))
        picture = record.with_suffix(".png")
        temporary = stack.enter_context(staged(picture, replace=True))
        temporary.write_bytes(figure_png())
        figure = NamedFile(file=picture.name, sha256=sha256_of_file(temporary))
        heard = dataclasses.replace(heard, sounds=written, figures=(figure,))
        for name in earlier - {one.file for one in heard.files}:
            system.remove_if_allowed(folder.inside("results", "listening", name))
        write_json(record, heard)
    return heard


def _written_earlier(record: Path) -> set[str]:
    """Names of the files of an earlier run. Raises SessionError when `record` is there and is no such record."""
    if not record.exists():
        return set()
    try:
        earlier = read_heard(record)
    except SessionError as error:
        raise SessionError(f"{record} is not what `distort hear` wrote: move it away") from error
    names = {one.file for one in earlier.files}
    return {name for name in names if name.startswith(f"{earlier.stem}_")}


def read_heard(path: Path) -> Heard:
    """The record at `path`. Raises SessionError, naming the file, when it cannot be read or trusted."""
    return read_json(path, Heard)


def heard_records(folder: SessionFolder) -> tuple[Heard, ...]:
    """Every record of what was heard in results/listening, by name; records of other sounds are not among them.

    Raises SessionError when the folder leads out of the session.
    """
    found = []
    for path in folder.files_in("results", "listening"):
        if path.suffix != ".json":
            continue
        try:
            heard = read_heard(path)
        except SessionError:  # of a residual, of a listener, or spoilt: none of ours to speak of
            continue
        if heard.stem == path.stem:
            found.append(heard)
    return tuple(found)


def as_written(folder: SessionFolder, heard: Heard) -> bool:
    """Whether every file that the record names is there, as it was written."""
    return all(
        Path(one.file).name == one.file and is_file_of(folder.inside("results", "listening", one.file), one.sha256)
        for one in heard.files
    )
