"""How far the multitones of a condition are predicted from its sweeps, and what that means for a synthesis."""

from dataclasses import dataclass
from typing import Literal

from distort.analysis.synthesis.ways import Form

MOST_EVEN_DB, MOST_ODD_DB = 3.0, 5.5
"""r.m.s. misfit of bands up to which a multitone counts as predicted (what the right structure of physical drivers
reached in a prototype)."""

GROWN_DB = 6.0
"""A misfit that is larger by this than at the level that fits has grown (common practice, no source)."""

Part = Literal["even", "odd"]
Verdict = Literal["fits", "memory", "structure-unknown", "not-checked", "not-predicted"]


@dataclass(frozen=True, kw_only=True)
class PartMisfit:
    """Even or odd products of one level."""

    misfit_db: float
    """r.m.s. over the bands."""
    excess_db: float
    """Measured less predicted, mean over the bands."""
    bands: int
    """That stand clear of their floor."""
    worst_hz: float
    """Middle of the third octave that exceeds its prediction most."""
    low_hz: float
    """Where the third octaves about it that exceed theirs by 3 dB or more begin, and end."""
    high_hz: float


@dataclass(frozen=True, kw_only=True)
class LevelPredicted:
    """One level; None: too few bands stand clear of their floor to say."""

    level_db_spl: float
    even: PartMisfit | None
    odd: PartMisfit | None
    held: bool = False
    """No sweep was loud enough: the kernels of the loudest were taken. That such a level exceeds them may as well be
    what those orders, or higher ones, grow by: it is shown, and nothing follows from it."""

    def part(self, name: Part) -> PartMisfit | None:
        """Even or odd."""
        return self.even if name == "even" else self.odd

    @property
    def fits(self) -> bool | None:
        """Whether what can be judged is predicted well enough; None: nothing can be judged."""
        if self.even is None and self.odd is None:
            return None
        return (self.even is None or self.even.misfit_db <= MOST_EVEN_DB) and (
            self.odd is None or self.odd.misfit_db <= MOST_ODD_DB
        )


@dataclass(frozen=True, kw_only=True)
class Prediction:
    """All levels, from the lowest up."""

    levels: tuple[LevelPredicted, ...]
    """Those that the sweeps reach, or nearly."""
    form: Form | None
    """None: no level could be judged."""
    chosen_at_db_spl: float | None
    """The level at which the form was chosen."""
    unreached_db_spl: tuple[float, ...]
    """Levels for which no sweep was loud enough."""
    needed_db_spl: float | None
    """Up to where sweeps would have to reach for the lowest of them."""

    @property
    def judged(self) -> tuple[LevelPredicted, ...]:
        """Levels that can be judged."""
        return tuple(one for one in self.levels if one.fits is not None)

    @property
    def reached(self) -> tuple[LevelPredicted, ...]:
        """Those of them for which sweeps were loud enough."""
        return tuple(one for one in self.judged if not one.held)

    @property
    def up_to_db_spl(self) -> float | None:
        """The highest level at and below which all that can be judged fits, at two levels at least; else None."""
        fitting = []
        for one in self.reached:
            if not one.fits:
                break
            fitting.append(one.level_db_spl)
        return fitting[-1] if len(fitting) > 1 else None

    @property
    def even_fails_at_first(self) -> bool:
        """Whether the lowest level for which sweeps were loud enough has even products that are not predicted."""
        even = self.reached[0].even if self.reached else None
        return even is not None and even.misfit_db > MOST_EVEN_DB

    @property
    def grown(self) -> tuple[LevelPredicted, Part] | None:
        """The lowest level at which a part exceeds its prediction by more than limit and growth allow, and the part.

        None unless a lower level fits, and sweeps were loud enough for both; nor where it took a finer structure to fit
        that, since one that is wrong at all levels may do so.
        """
        if self.form is not None and self.form.even_advance_hz is not None:
            return None
        for one in self.reached:
            lower = [each for each in self.reached if each.fits and each.level_db_spl < one.level_db_spl]
            part = _grown_part(lower[0], one) if lower and not one.fits else None
            if part is not None:
                return one, part
        return None

    @property
    def verdict(self) -> Verdict:
        """What it means for a synthesis."""
        if not self.reached:
            return "not-predicted"
        if self.grown is not None:
            return "memory"
        if not self.reached[0].fits:
            return "structure-unknown"
        if len(self.reached) == 1:
            return "not-checked"
        return "structure-unknown" if self.up_to_db_spl is None else "fits"


def _grown_part(low: LevelPredicted, high: LevelPredicted) -> Part | None:
    parts: tuple[tuple[Part, float], ...] = (("even", MOST_EVEN_DB), ("odd", MOST_ODD_DB))
    for name, most_db in parts:
        below, above = low.part(name), high.part(name)
        if below is None or above is None or above.misfit_db <= most_db:
            continue
        if above.misfit_db >= below.misfit_db + GROWN_DB and above.excess_db > 0.0:
            return name
    return None
