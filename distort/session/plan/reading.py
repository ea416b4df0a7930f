"""From the text of session.toml to a Plan, or to one sentence that says what is wrong and where."""

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, fields, replace
from pathlib import Path
from typing import Any

import signals
from distort.analysis.sweep.windows import require_orders
from distort.errors import AnalysisError, PlanError, SessionError, shown
from distort.session.files.folder import PLAN_FILE, SessionFolder
from distort.session.files.portable import twin_of
from distort.session.files.reading import read_bytes
from distort.session.plan.keys import FORMAT, NEAR_FIELD, OPTIONAL, SECTIONS, ConditionPlan, Plan, Setup
from distort.session.plan.kinds import PLAYED, TRIAL_DRIVE_DBFS, sweep_stimulus

MOST_BYTES = 100_000
"""Over ten times the plan that `distort new` writes, all texts as long as they may be included."""

LONGEST_LINE = 5_000
"""Characters: a note with every line break spelled takes 4,000. A key of n parts takes Python n^2 steps to read."""

CONDITIONS = "conditions"
"""[conditions.NAME] changed = "port closed": what is said of one condition."""

LONGEST_NEAR = 100
"""Characters of an unknown key that are compared with the known ones: none of them is longer."""


def read_plan(folder: Path) -> Plan:
    """The plan of the session in `folder`.

    Raises PlanError, in one sentence with the file, the section and the key, when session.toml is missing, is no file,
    leads out of the session, is not TOML, has a section or key that is not known, lacks one that is needed, or holds a
    value that cannot be meant.
    """
    path = folder / PLAN_FILE
    try:
        content = read_bytes(SessionFolder(folder).inside(PLAN_FILE), MOST_BYTES)
    except SessionError as error:
        raise PlanError(str(error)) from error
    except FileNotFoundError as error:
        raise PlanError(f"{path} is missing: make a session with `distort new`, or name its folder") from error
    except OSError as error:
        raise PlanError(f"{path} cannot be read: {error.strerror or error}") from error
    return replace(_plan(toml_of(content, source=str(path)), str(path)), root=folder)


def plan_from_text(text: str, *, source: str) -> Plan:
    """The plan that `text` states; `source` names it in errors. Raises PlanError as `read_plan` does."""
    return _plan(toml_of(text.encode("utf-8", errors="surrogatepass"), source=source), source)


def toml_of(content: bytes, *, source: str) -> dict[str, Any]:
    """What a session.toml says, whether or not a plan may say so.

    Raises PlanError, naming `source`, when it is too large, not UTF-8 text, or not TOML.
    """
    if len(content) > MOST_BYTES:
        raise PlanError(f"{source} is larger than {MOST_BYTES // 1000} kB: it is no plan")
    try:
        # Some editors put a byte order mark first, which TOML does not allow.
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise PlanError(f"{source} is not UTF-8 text (line {line}): save it as UTF-8") from error
    for line, written in enumerate(text.splitlines(), start=1):
        if len(written) > LONGEST_LINE:
            raise PlanError(f"{source}, line {line} has {len(written):,} characters; up to {LONGEST_LINE:,} are read")
    try:
        return tomllib.loads(text + "\n")  # so that an error in the last line is still told by its line
    except ValueError as error:  # TOMLDecodeError is one; so is a whole number of thousands of digits
        raise PlanError(f"{source} is not valid TOML: {error}") from error
    except RecursionError as error:
        raise PlanError(f"{source} is not a plan: its lists are nested too deeply") from error


def _plan(document: dict[str, Any], source: str) -> Plan:
    _check_format(document.pop("format", None), source)
    conditions = document.pop(CONDITIONS, {})
    _check_known(document, [*SECTIONS, CONDITIONS], "section", source)
    asked_for = [name for name in SECTIONS if name in document or name not in OPTIONAL]
    sections = {name: _section(name, document.get(name, {}), source) for name in asked_for}
    plan = Plan(**sections)
    plan = replace(plan, conditions=_conditions(conditions, plan.setup, source))
    _check_together(plan, document, source)
    return plan


def _check_format(written: object, source: str) -> None:
    if written is None:
        raise PlanError(f"{source} does not begin with `format = {FORMAT}`: add that line at its top")
    if written != FORMAT or isinstance(written, bool):
        raise PlanError(f"{source} says format = {shown(written)}; this program reads format = {FORMAT}")


def _check_known(given: Iterable[str], known: Iterable[str], what: str, source: str) -> None:
    names = list(known)
    for name in given:
        if name not in names:
            nearest = difflib.get_close_matches(name[:LONGEST_NEAR], names, n=1, cutoff=0.0)[0]
            raise PlanError(f"{source}: unknown {what} {shown(name)}; the nearest known one is {nearest!r}")


def _section(section: str, given: Any, source: str) -> Any:
    """One section as its dataclass."""
    return SECTIONS[section](**_values(section, SECTIONS[section], given, source))


def _values(section: str, made_by: type[Any], given: Any, source: str) -> dict[str, Any]:
    """What a section says, each value passed through its rule."""
    if not isinstance(given, Mapping):
        raise PlanError(f"{source}: {shown(section)} must be a section, [{section}], not a value")
    keys = {key.name: key for key in fields(made_by) if "rule" in key.metadata}
    _check_known(given, keys, f"key in [{section}]:", source)
    values = {}
    for name, key in keys.items():
        if name in given:
            try:
                values[name] = key.metadata["rule"](given[name])
            except ValueError as error:
                raise PlanError(f"{source}: [{section}] {name} must be {error}") from error
        elif key.default is MISSING:
            raise PlanError(f"{source}: [{section}] needs {name}: {key.metadata['about']}")
    return values


def _conditions(given: Any, setup: Setup, source: str) -> tuple[ConditionPlan, ...]:
    """What [conditions.NAME] says of each condition."""
    if not isinstance(given, Mapping):
        raise PlanError(f"{source}: 'conditions' must hold sections, [{CONDITIONS}.NAME], not a value")
    _check_known(given, setup.conditions, "condition in [conditions.NAME]:", source)
    return tuple(_condition(name, said, setup, source) for name, said in given.items())


def _condition(name: str, given: Any, setup: Setup, source: str) -> ConditionPlan:
    section = f"{CONDITIONS}.{name}"
    values = _values(section, ConditionPlan, given, source)
    if not values:
        *most, last = (key.name for key in fields(ConditionPlan) if "rule" in key.metadata)
        raise PlanError(f"{source}: [{section}] says nothing: it may say {', '.join(most)} and {last}")
    said = ConditionPlan(name=name, **values)
    if said.radiation == NEAR_FIELD and said.distance_m is None:
        raise PlanError(
            f"{source}: [{section}] needs distance_m: how far the microphone is from the cone or port, in metres"
        )
    if said.radius_m is not None and (said.radiation or setup.radiation) != NEAR_FIELD:
        raise PlanError(f'{source}: [{section}] radius_m goes with radiation = "near-field" alone')
    return said


def _check_music(plan: Plan, source: str) -> None:
    for level in (plan.programme and plan.programme.levels) or ():
        if level not in plan.levels.db_spl:
            known = ", ".join(f"{one:g}" for one in plan.levels.db_spl)
            raise PlanError(
                f"{source}: [programme] levels names {level:g} dB, which is none of [levels] db_spl: there are {known}"
            )


def _check_together(plan: Plan, document: Mapping[str, Any], source: str) -> None:
    """What no key can say alone."""
    highest = plan.levels.db_spl[-1]
    if highest > plan.safety.ceiling_db_spl:
        raise PlanError(
            f"{source}: [levels] db_spl goes up to {highest:g} dB, above [safety] ceiling_db_spl = "
            f"{plan.safety.ceiling_db_spl:g}: "
            f"leave the level out, or raise the ceiling if loudspeaker and ears bear it"
        )
    if plan.microphone.response_file is not None and "response_is" not in document["microphone"]:
        raise PlanError(
            f'{source}: [microphone] names a response_file, so it must say response_is = "response" or "correction": '
            f"the two differ in sign"
        )
    files = [*plan.analysis.response_files, *filter(None, [plan.microphone.response_file])]
    for file in files:
        if (twin := twin_of(file, files)) is not None:
            raise PlanError(
                f"{source}: {file!r} and {twin!r} differ by capitals alone and are one file on other systems: "
                f"rename one of them"
            )
    _check_music(plan, source)
    for kind in PLAYED:
        try:
            kind.made(plan, TRIAL_DRIVE_DBFS)
        except signals.SignalError as error:
            raise PlanError(f"{source}: [{kind.section}] makes no {kind.section}: {error}") from error
    try:
        require_orders(sweep_stimulus(plan, drive_dbfs=TRIAL_DRIVE_DBFS), plan.analysis.orders)
    except AnalysisError as error:
        raise PlanError(f"{source}: [analysis] orders and [sweep] seconds do not fit: {error}") from error
