"""Names in a session folder: levels, conditions, and `<stimulus>_<level>dB[_takeN][_after]` there and back."""

import re
from dataclasses import dataclass

from distort.errors import SessionError, shown
from distort.session.files.portable import fault_of

LOWEST_LEVEL_DB_SPL = 20.0
HIGHEST_LEVEL_DB_SPL = 140.0
MOST_TAKES = 99

RESERVED_CONDITIONS = frozenset(["compare", "figures", "listening"])
"""They stand beside the conditions in results/."""

MADE_ELSEWHERE = "made-elsewhere_"
"""Begins the name of a file in stimuli/ that holds a sweep made elsewhere."""

_CONDITION = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")
_STIMULUS = re.compile(r"(?=.{1,40}$)[a-z][a-z0-9]*(-[a-z0-9]+)*")
_STEM = re.compile(
    r"(?P<stimulus>[a-z0-9-]+)_(?P<level>[0-9]+(\.[0-9]+)?)dB(_take(?P<take>[0-9]{1,2}))?(?P<after>_after)?"
)


def format_level(level_db_spl: float) -> str:
    """A nominal level as names carry it: 86 -> "86", 91.5 -> "91.5".

    Raises SessionError outside 20 ... 140 dB SPL, or with more than two decimals: two levels must not share a name.
    """
    if not LOWEST_LEVEL_DB_SPL <= level_db_spl <= HIGHEST_LEVEL_DB_SPL:
        raise SessionError(
            f"a level of {level_db_spl:g} dB SPL is outside {LOWEST_LEVEL_DB_SPL:g} ... {HIGHEST_LEVEL_DB_SPL:g}"
        )
    rounded = round(level_db_spl, 2)
    if abs(rounded - level_db_spl) > 1e-9:  # the rounding of a double, not a third decimal
        raise SessionError(f"a level of {level_db_spl!r} dB SPL has more than two decimals: round it")
    return f"{rounded:.2f}".rstrip("0").rstrip(".")


def check_condition(condition: str) -> str:
    """`condition`, if it can name a folder on every system. Raises SessionError saying what a condition may be."""
    if not _CONDITION.fullmatch(condition):
        raise SessionError(
            f"{shown(condition)} cannot name a condition: use 1 to 40 letters (a to z), digits, - and _, "
            f"beginning with a letter or digit"
        )
    if condition.lower() in RESERVED_CONDITIONS:
        raise SessionError(f"{shown(condition)} cannot name a condition: that name is taken; choose another")
    if (fault := fault_of(condition)) is not None:
        raise SessionError(f"{shown(condition)} cannot name a condition: {fault}; choose another")
    return condition


def may_be_condition(name: str) -> bool:
    """Whether a condition can be called `name`."""
    try:
        check_condition(name)
    except SessionError:
        return False
    return True


@dataclass(frozen=True, kw_only=True)
class RecordingName:
    """What a recording's file name says.

    stimulus       "sweep", "sweep-short", "multitone": lower-case letters and digits, joined by -
    level_db_spl   nominal level
    take           1, 2, ...; the first carries no number in the name
    after          the reference level again, after the ladder

    Raises SessionError when no file can be called so.
    """

    stimulus: str
    level_db_spl: float
    take: int = 1
    after: bool = False

    def __post_init__(self) -> None:
        if not _STIMULUS.fullmatch(self.stimulus):
            raise SessionError(
                f"{shown(self.stimulus)} cannot name a stimulus: use up to 40 letters (a to z), digits and -"
            )
        if not 1 <= self.take <= MOST_TAKES:
            raise SessionError(f"take {self.take} of {self.stimulus} is outside 1 ... {MOST_TAKES}")
        format_level(self.level_db_spl)

    @property
    def stem(self) -> str:
        """The file name without its ending."""
        take = f"_take{self.take}" if self.take > 1 else ""
        return f"{stimulus_stem(self.stimulus, self.level_db_spl)}{take}{'_after' if self.after else ''}"


def stimulus_stem(stimulus: str, level_db_spl: float) -> str:
    """Name of a stimulus at a nominal level, without ending: "sweep_86dB". Raises SessionError for a bad level."""
    return f"{stimulus}_{format_level(level_db_spl)}dB"


def parse_stem(stem: str) -> RecordingName | None:
    """What the file name `stem` (without ending) says, or None when it is not a recording's name.

    Only the one spelling that `RecordingName.stem` gives is taken, so that no two names mean the same recording.
    """
    found = _STEM.fullmatch(stem)
    if found is None:
        return None
    try:
        name = RecordingName(
            stimulus=found["stimulus"],
            level_db_spl=float(found["level"]),
            take=int(found["take"] or 1),
            after=found["after"] is not None,
        )
    except SessionError:  # it looks like a name, and says what none can say: not one of ours
        return None
    return name if name.stem == stem else None
