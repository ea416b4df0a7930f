"""What is shown of the kinds of stimuli that have a result of their own: one entry a kind.

What says it is named here and loaded when it is asked for, so that the command line can list the kinds at once.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.table import Table

    from distort.session.results.condition_results import ConditionResults


@dataclass(frozen=True, kw_only=True)
class ShownKind:
    """How a kind is shown."""

    said_by: str
    """module:function that says its result in sentences and tables: it is given all results of the condition."""
    methods: str
    """File beside this one that says how it is measured, with formulas and sources: Markdown, from `## ` on."""
    needs: str = ""
    """Of what is made of recordings that are there for something else, so that no section of the plan asks for it: what
    these must be like, a clause after "the". "": it has recordings of its own."""

    asked_by: str = ""
    """How it is asked for where no section of its own in the plan does that, as a request. "": by its section."""

    def blocks(self, results: "ConditionResults") -> "Iterator[str | Table]":
        """Its sentences and tables, of a condition that has such a result."""
        module, function = self.said_by.split(":")
        blocks: Iterator[str | Table] = getattr(import_module(module), function)(results)
        return blocks


SHOWN: dict[str, ShownKind] = {
    "burst": ShownKind(said_by="distort.report.text.burst:burst_blocks", methods="methods_burst.md"),
    "frames": ShownKind(said_by="distort.report.text.frames:frames_blocks", methods="methods_frames.md"),
    "heating": ShownKind(
        said_by="distort.report.text.heating:heating_blocks",
        methods="methods_heating.md",
        asked_by="say long_minutes in [multitone] of session.toml, then 'distort measure --heating LEVEL', and analyse",
    ),
    "programme": ShownKind(said_by="distort.report.text.programme:programme_blocks", methods="methods_programme.md"),
    "impulsive": ShownKind(
        said_by="distort.report.text.impulsive:impulsive_blocks",
        methods="methods_impulsive.md",
        needs="sweeps must begin below 300 Hz, last a second or more and have a silence of 0.4 s beside them",
    ),
    "noise": ShownKind(
        said_by="distort.report.text.noise:noise_blocks",
        methods="methods_noise.md",
        needs="multitones must have a silence of 0.5 s beside them",
    ),
    "hiss": ShownKind(
        said_by="distort.report.text.hiss:hiss_blocks",
        methods="methods_hiss.md",
        needs="sweeps must have two silences of 1 s beside them, and there must be one of the same place and gain with "
        "the loudspeaker off (distort add FOLDER off.wav --stimulus silence)",
    ),
}
"""By the name of the recordings. Each is also a word of `distort show`."""
