"""session.toml as frozen dataclasses. The file is the user's own: it is read here and never rewritten.

Each key stands once, with its default, its rule, and the words that `distort new` writes beside it.
"""

from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Literal, get_args

from distort.analysis.common.burst_limits import BurstLimits
from distort.analysis.common.quantities import HIGHEST_ORDER
from distort.session.plan import rules
from distort.session.plan.limits import LimitsPlan
from distort.session.plan.multitone import MultitonePlan

FORMAT = 1
"""Version of session.toml that this program reads."""

Radiation = Literal["free", "ground-plane", "near-field", "room"]
ResponseIs = Literal["response", "correction"]
NEAR_FIELD: Radiation = "near-field"

DISTANCES_M = 0.005, 100.0

_facts = rules.facts


@dataclass(frozen=True, kw_only=True)
class Loudspeaker:
    """What is tested, and how it is set."""

    name: str = field(metadata=_facts(rules.some_text, "what is tested, as reports shall call it"))
    unit: str = field(default="", metadata=_facts(rules.text, "which one of them: serial number, left or right"))
    firmware: str = field(default="", metadata=_facts(rules.text, "version of its firmware, if it has any"))
    input: str = field(default="", metadata=_facts(rules.text, "the input used"))
    volume: str = field(default="", metadata=_facts(rules.text, "where its level control stands"))
    preset: str = field(default="", metadata=_facts(rules.text, "its preset or filter switches"))
    note: str = field(default="", metadata=_facts(rules.note, "anything else a reader must know"))


@dataclass(frozen=True, kw_only=True)
class Setup:
    """Where it stands and where the microphone is."""

    distance_m: float = field(
        default=1.0, metadata=_facts(rules.number(*DISTANCES_M), "metres from the loudspeaker to the microphone")
    )
    temperature_c: float = field(
        default=20.0, metadata=_facts(rules.number(-40.0, 60.0), "degrees Celsius of the air, for wavelengths")
    )
    radiation: Radiation = field(
        default="room",
        metadata=_facts(rules.one_of(*get_args(Radiation)), '"free", "ground-plane", "near-field" or "room"'),
    )
    conditions: tuple[str, ...] = field(
        default=("default",),
        metadata=_facts(rules.conditions, "states of the set-up to compare; each gets its own recordings"),
    )


@dataclass(frozen=True, kw_only=True)
class Microphone:
    """The measurement microphone."""

    response_file: str | None = field(
        default=None,
        metadata=_facts(rules.file_inside, "its response, a file in this folder", '"calibration/microphone.txt"'),
    )
    response_is: ResponseIs = field(
        default="response",
        metadata=_facts(
            rules.one_of(*get_args(ResponseIs)), '"response" (is taken off) or "correction" (is added)', '"response"'
        ),
    )
    max_db_spl: float | None = field(
        default=None,
        metadata=_facts(rules.number(60.0, 200.0), "maximum SPL from its data sheet, dB SPL; never passed", "120"),
    )
    max_percent: float = field(
        default=3.0,
        metadata=_facts(rules.number(0.01, 30.0), "% of distortion for which max_db_spl is stated: 3, 1, 0.5"),
    )


@dataclass(frozen=True, kw_only=True)
class Levels:
    """The ladder of levels."""

    db_spl: tuple[float, ...] = field(
        default=(81.0, 86.0, 91.0, 96.0, 101.0), metadata=_facts(rules.levels, "dB SPL at 1 m, from the lowest up")
    )
    band_hz: tuple[float, float] = field(
        default=(300.0, 3000.0), metadata=_facts(rules.band, "Hz; the band whose mean response sets the drive")
    )
    repeat_reference: bool = field(
        default=True, metadata=_facts(rules.flag, "play the lowest level again after all others")
    )
    rest_s: float = field(
        default=20.0, metadata=_facts(rules.number(0.0, 3600.0), "seconds of rest between recordings")
    )
    takes: int = field(default=1, metadata=_facts(rules.whole(1, 99), "recordings of each stimulus at each level"))
    warm_up_min: float | None = field(
        default=None,
        metadata=_facts(rules.number(0.0, 600.0), "minutes an active loudspeaker is on before the first sound", "30"),
    )
    standby_min: float | None = field(
        default=None,
        metadata=_facts(rules.number(0.1, 600.0), "minutes of quiet after which it turns itself off", "15"),
    )


@dataclass(frozen=True, kw_only=True)
class Safety:
    """What is never exceeded."""

    ceiling_db_spl: float = field(
        default=105.0, metadata=_facts(rules.number(20.0, 140.0), "dB SPL at 1 m; nothing louder is played")
    )
    max_drive_dbfs: float = field(
        default=-6.0, metadata=_facts(rules.number(-120.0, 0.0), "dBFS; no drive above it, whatever the calibration")
    )


@dataclass(frozen=True, kw_only=True)
class SweepPlan:
    """The exponential sweep."""

    start_hz: float = field(
        default=10.0, metadata=_facts(rules.number(0.5, 1e5), "Hz; where it starts: orders hold from twice that")
    )
    full_level_hz: float = field(default=15.9, metadata=_facts(rules.number(0.5, 1e5), "Hz; where its fade-in ends"))
    stop_hz: float = field(
        default=22000.0, metadata=_facts(rules.number(1.0, 4e5), "Hz; where it stops, below half the sample rate")
    )
    seconds: float = field(default=10.0, metadata=_facts(rules.number(0.1, 600.0), "s; its length"))
    sample_rate: int = field(
        default=48000, metadata=_facts(rules.whole(8000, 768000), "Hz; sample rate of all that is played")
    )
    short: bool = field(
        default=True, metadata=_facts(rules.flag, "also play one of half the length: shows the bias of its speed")
    )
    lowest_hz: float | None = field(
        default=None,
        metadata=_facts(rules.number(1.0, 1e5), "Hz; below it the drive falls, for a small loudspeaker", "60"),
    )


@dataclass(frozen=True, kw_only=True)
class BurstPlan:
    """Tone bursts of every third octave."""

    lowest_hz: float = field(default=63.0, metadata=_facts(rules.number(20.0, 20e3), "Hz; the lowest third octave"))
    highest_hz: float = field(default=8000.0, metadata=_facts(rules.number(20.0, 20e3), "Hz; the highest one"))
    periods: float = field(default=6.5, metadata=_facts(rules.number(4.0, 50.0), "periods of each burst"))
    gap_s: float = field(
        default=0.3, metadata=_facts(rules.number(0.1, 5.0), "s of silence between bursts, for the room to ring out")
    )
    max_compression_db: float = field(
        default=BurstLimits.compression_db,
        metadata=_facts(rules.number(0.5, 12.0), "dB that the output may fall short; ends a band of the burst series"),
    )
    max_orders_db: tuple[float, ...] = field(
        default=BurstLimits.orders_db,
        metadata=_facts(rules.order_limits, "dB re the fundamental; H2, H3, ...; the last holds for all above"),
    )
    ceiling_db_peak: float | None = field(
        default=None,
        metadata=_facts(
            rules.number(20.0, 143.0), "peak dB SPL at 1 m of bursts, in place of ceiling_db_spl + 3 dB", "108"
        ),
    )


@dataclass(frozen=True, kw_only=True)
class FramesPlan:
    """A sine that is quiet, loud for a moment, and quiet again: what compresses, a limiter, heat, or neither."""

    frequencies_hz: tuple[float, ...] = field(
        default=(125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0),
        metadata=_facts(rules.frequencies, "Hz; one frame each"),
    )
    below_db: float = field(
        default=20.0, metadata=_facts(rules.number(6.0, 30.0), "dB; how far the quiet sine lies below the loud one")
    )
    highest_levels: int = field(
        default=2, metadata=_facts(rules.whole(1, 99), "of the levels, how many have frames: the highest")
    )


@dataclass(frozen=True, kw_only=True)
class ProgrammePlan:
    """Music or speech: of a file, or a short piece that this program makes."""

    file: str | None = field(
        default=None,
        metadata=_facts(rules.file_inside, "WAV or FLAC, 5 to 60 s; unset: a piece made here", '"programme/x.flac"'),
    )
    levels: tuple[float, ...] | None = field(
        default=None, metadata=_facts(rules.levels, "dB SPL at 1 m, of those above; unset: all that fit", "[81, 96]")
    )
    credit: str = field(default="", metadata=_facts(rules.text, "whose music the file is, to be named beside it"))
    licence: str = field(
        default="", metadata=_facts(rules.text, "of the file, such as CC0-1.0; without one no sound leaves the session")
    )
    seconds: float = field(default=8.0, metadata=_facts(rules.number(2.0, 60.0), "s, of the piece made here"))


@dataclass(frozen=True, kw_only=True)
class AnalysisPlan:
    """How recordings are analysed."""

    orders: int = field(default=10, metadata=_facts(rules.whole(2, HIGHEST_ORDER), "highest harmonic order"))
    smoothing: str = field(default="1/12", metadata=_facts(rules.smoothing, 'octaves, as "1/12", in power; or "none"'))
    gate_ms: float | None = field(
        default=None,
        metadata=_facts(rules.number(0.5, 10e3), "ms after the direct sound that are kept; unset: all", "8"),
    )
    response_files: tuple[str, ...] = field(
        default=(),
        metadata=_facts(
            rules.files_inside, "free-field responses, files in this folder", '["calibration/free-field.csv"]'
        ),
    )
    chain_condition: str | None = field(
        default=None,
        metadata=_facts(
            rules.some_text, "the condition recorded without a loudspeaker, output to input: the chain alone", '"chain"'
        ),
    )

    @property
    def smoothing_octaves(self) -> float:
        """Width of the smoothing in octaves; 0: none. Raises ValueError for neither "1/n" nor "none"."""
        return rules.smoothing_width(self.smoothing)


@dataclass(frozen=True, kw_only=True)
class ReportPlan:
    """What the report says about itself."""

    title: str = field(default="", metadata=_facts(rules.text, "title of the report; empty: the loudspeaker's name"))
    credit: str = field(default="", metadata=_facts(rules.text, "who measured, as it shall stand under the figures"))


@dataclass(frozen=True, kw_only=True)
class ConditionPlan:
    """What is said of one condition; None: as in the first, or as in [setup]."""

    name: str
    changed: str | None = field(
        default=None,
        metadata=_facts(rules.some_text, "what was changed against the first condition", '"port closed"'),
    )
    radiation: Radiation | None = field(
        default=None,
        metadata=_facts(rules.one_of(*get_args(Radiation)), "as in [setup], where it is another here", '"near-field"'),
    )
    distance_m: float | None = field(
        default=None,
        metadata=_facts(rules.number(*DISTANCES_M), "metres to the microphone, where they are others here", "0.01"),
    )
    radius_m: float | None = field(
        default=None,
        metadata=_facts(
            rules.number(0.002, 0.5), "metres; near field: radius of the cone or port at the microphone", "0.05"
        ),
    )


@dataclass(frozen=True, kw_only=True)
class Plan:
    """The whole of session.toml."""

    loudspeaker: Loudspeaker
    setup: Setup = Setup()
    microphone: Microphone = Microphone()
    levels: Levels = Levels()
    safety: Safety = Safety()
    sweep: SweepPlan = SweepPlan()
    multitone: MultitonePlan = field(default_factory=MultitonePlan)
    analysis: AnalysisPlan = AnalysisPlan()
    limits: LimitsPlan = field(default_factory=LimitsPlan)
    report: ReportPlan = ReportPlan()
    burst: BurstPlan | None = None
    frames: FramesPlan | None = None
    programme: ProgrammePlan | None = None
    conditions: tuple[ConditionPlan, ...] = ()
    """Of [conditions.NAME], where the plan says something of one."""
    condition: str | None = None
    """Whose plan it is, where it is that of one condition (`of`)."""
    main: str | None = None
    """Of the plan of one condition: the first that is heard at a distance and through a loudspeaker; None: all are in
    the near field, and have drives of their own."""
    near_fields: tuple[str, ...] = ()
    """Of the plan of one condition: those in the near field, which are played with the drives of `main`."""
    root: Path | None = field(default=None, compare=False, repr=False)
    """The session's folder, in which the files lie that it names; None: it was not read from one."""

    @property
    def near_field_of(self) -> str | None:
        """Of the plan of a condition in the near field: the condition whose drives it is played with."""
        return self.main if self.condition in self.near_fields else None

    def said(self, condition: str) -> ConditionPlan:
        """What is said of a condition."""
        return next((one for one in self.conditions if one.name == condition), ConditionPlan(name=condition))

    def changed(self, condition: str) -> str | None:
        """What was changed in a condition; None: nothing was said."""
        return self.said(condition).changed

    def hears_a_room(self, condition: str) -> bool:
        """Whether a microphone hears loudspeaker and room there: not in the electronics alone, nor in a near field,
        which may be as flat as a wire."""
        return condition != self.analysis.chain_condition and self._setup(condition).radiation != NEAR_FIELD

    def of(self, condition: str) -> "Plan":
        """The plan as it holds for one condition: radiation and distance are its own.

        Raises ValueError for the plan of another condition, which no longer knows those of all.
        """
        if self.condition == condition:
            return self
        if self.condition is not None:
            raise ValueError(f"the plan of {self.condition} is not that of {condition}")
        names = dict.fromkeys((*self.setup.conditions, condition))
        near = tuple(name for name in names if self._setup(name).radiation == NEAR_FIELD)
        chain = self.analysis.chain_condition
        main = next((name for name in self.setup.conditions if name != chain and name not in near), None)
        setup = self._setup(condition)
        return replace(self, setup=setup, condition=condition, main=main, near_fields=() if main is None else near)

    def _setup(self, condition: str) -> Setup:
        said = self.said(condition)
        return replace(
            self.setup,
            radiation=said.radiation or self.setup.radiation,
            distance_m=said.distance_m or self.setup.distance_m,
        )


SECTIONS: dict[str, type[Any]] = {
    "loudspeaker": Loudspeaker,
    "setup": Setup,
    "microphone": Microphone,
    "levels": Levels,
    "safety": Safety,
    "sweep": SweepPlan,
    "multitone": MultitonePlan,
    "burst": BurstPlan,
    "frames": FramesPlan,
    "programme": ProgrammePlan,
    "analysis": AnalysisPlan,
    "limits": LimitsPlan,
    "report": ReportPlan,
}
"""Every section of session.toml, in its order."""

OPTIONAL = frozenset(key.name for key in fields(Plan) if key.default is None and key.name in SECTIONS)
"""Sections that describe what is played only where the plan has them."""
