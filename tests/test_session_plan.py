"""session.toml: what it may say, what it means, and the sentence for everything else."""

import time
import tomllib
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from distort.errors import PlanError, SessionError, UsageError
from distort.session.plan.keys import OPTIONAL, SECTIONS, Loudspeaker, Plan
from distort.session.plan.kinds import sweep_stimulus
from distort.session.plan.reading import plan_from_text, read_plan
from distort.session.plan.template import parse_conditions, parse_levels, plan_text, text_of, write_plan

KEYS = {
    "loudspeaker": ["name", "unit", "firmware", "input", "volume", "preset", "note"],
    "setup": ["distance_m", "temperature_c", "radiation", "conditions"],
    "microphone": ["response_file", "response_is", "max_db_spl", "max_percent"],
    "levels": ["db_spl", "band_hz", "repeat_reference", "rest_s", "takes", "warm_up_min", "standby_min"],
    "safety": ["ceiling_db_spl", "max_drive_dbfs"],
    "sweep": ["start_hz", "full_level_hz", "stop_hz", "seconds", "sample_rate", "short", "lowest_hz"],
    "multitone": [
        "lines_per_decade",
        "period_s",
        "periods",
        "spectrum",
        "phases",
        "seed",
        "realisations",
        "long_minutes",
    ],
    "analysis": ["orders", "smoothing", "gate_ms", "response_files", "chain_condition"],
    "limits": ["change_db", "broad_change_db", "coherence", "distortion_percent"],
    "report": ["title", "credit"],
}
"""The contract with users' files: changing it breaks every session on their disks."""

SHORTEST = 'format = 1\n[loudspeaker]\nname = "Monitor"\n'


def plan_of(addition: str) -> Plan:
    return plan_from_text(SHORTEST + addition, source="session.toml")


def refusal(text: str) -> str:
    with pytest.raises(PlanError) as caught:
        plan_from_text(text, source="desk/session.toml")
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_sections_and_keys_are_those_of_the_contract() -> None:
    """Those of kinds that are played only where a plan has them are held by the tests of these kinds."""
    every = {section: [key.name for key in fields(made_by)] for section, made_by in SECTIONS.items()}
    assert {section: keys for section, keys in every.items() if section not in OPTIONAL} == KEYS


def test_the_shortest_plan_has_the_stated_defaults() -> None:
    plan = plan_of("")
    assert plan == Plan(loudspeaker=Loudspeaker(name="Monitor"))
    assert (plan.setup.distance_m, plan.setup.temperature_c, plan.setup.conditions) == (1.0, 20.0, ("default",))
    assert plan.levels.db_spl == (81.0, 86.0, 91.0, 96.0, 101.0)
    assert (plan.levels.band_hz, plan.levels.repeat_reference) == ((300.0, 3000.0), True)
    assert (plan.levels.rest_s, plan.levels.takes) == (20.0, 1)
    assert (plan.safety.ceiling_db_spl, plan.safety.max_drive_dbfs) == (105.0, -6.0)
    assert (plan.sweep.start_hz, plan.sweep.full_level_hz, plan.sweep.stop_hz) == (10.0, 15.9, 22000.0)
    assert (plan.sweep.seconds, plan.sweep.sample_rate, plan.sweep.short) == (10.0, 48000, True)
    assert plan.sweep.lowest_hz is None
    assert (plan.multitone.lines_per_decade, plan.multitone.period_s, plan.multitone.periods) == (10, 2.0, 16)
    assert (plan.multitone.spectrum, plan.multitone.phases, plan.multitone.seed) == ("pink", "random", 1)
    assert (plan.analysis.orders, plan.analysis.smoothing, plan.analysis.gate_ms) == (10, "1/12", None)


def test_a_file_is_read_with_byte_order_mark_and_windows_line_ends(tmp_path: Path) -> None:
    (tmp_path / "session.toml").write_bytes(b"\xef\xbb\xbf" + SHORTEST.replace("\n", "\r\n").encode())
    assert read_plan(tmp_path).loudspeaker.name == "Monitor"


def test_numbers_may_be_written_without_decimals() -> None:
    plan = plan_of("[setup]\ndistance_m = 2\n[analysis]\ngate_ms = 8\nsmoothing = 'none'")
    assert isinstance(plan.setup.distance_m, float)
    assert plan.setup.distance_m == 2.0
    assert plan.analysis.gate_ms == 8.0
    assert plan.analysis.smoothing_octaves == 0.0


@pytest.mark.parametrize(("text", "octaves"), [("1/1", 1.0), ("1/3", 1 / 3), ("1/12", 1 / 12), ("1/96", 1 / 96)])
def test_smoothing_in_octaves(text: str, octaves: float) -> None:
    assert plan_of(f'[analysis]\nsmoothing = "{text}"').analysis.smoothing_octaves == octaves


@pytest.mark.parametrize(
    ("addition", "said"),
    [
        ("[sweep]\nsecond = 5", ["[sweep]", "'second'", "nearest", "'seconds'"]),
        ("[levels]\ndb_sql = [80]", ["[levels]", "'db_sql'", "'db_spl'"]),
        ("[sweeep]\nseconds = 5", ["section 'sweeep'", "'sweep'"]),
        ("[sweep]\nzzzz = 5", ["[sweep]", "'zzzz'", "nearest"]),
    ],
)
def test_an_unknown_key_is_named_with_the_nearest_known_one(addition: str, said: list[str]) -> None:
    message = refusal(SHORTEST + addition)
    assert all(part in message for part in ["desk/session.toml", *said])


def test_a_key_before_the_first_section_is_an_unknown_section() -> None:
    assert "'levels'" in refusal("level = 3\n" + SHORTEST)


@pytest.mark.parametrize(
    ("section", "key", "value", "said"),
    [
        ("levels", "db_spl", "[]", "not an empty one"),
        ("levels", "db_spl", "86", "a list of levels"),
        ("levels", "db_spl", '["86"]', "a number, without quotes"),
        ("levels", "db_spl", "[86, 76]", "from the lowest to the highest, but 76 comes after 86"),
        ("levels", "db_spl", "[76, 86, 86.0]", "86 is there twice"),
        ("levels", "db_spl", "[76, nan]", "from 20 to 140, not nan"),
        ("levels", "db_spl", "[76, inf]", "from 20 to 140, not inf"),
        ("levels", "db_spl", "[76, 86.125]", "at most two decimals, not 86.125"),
        ("levels", "db_spl", "[7]", "from 20 to 140, not 7"),
        ("levels", "band_hz", "[3000, 300]", "the lower first"),
        ("levels", "band_hz", "[300]", "the lower first"),
        ("levels", "repeat_reference", "1", "true or false"),
        ("levels", "rest_s", "-1", "from 0 to 3600"),
        ("levels", "takes", "true", "a whole number, not True"),
        ("levels", "takes", "0", "from 1 to 99"),
        ("levels", "takes", "1.5", "a whole number, not 1.5"),
        ("setup", "distance_m", "0", "from 0.005 to 100"),
        ("setup", "distance_m", '"1 m"', "a number, without quotes"),
        ("setup", "temperature_c", "true", "a number, without quotes"),
        ("setup", "radiation", '"garage"', "one of 'free', 'ground-plane', 'near-field', 'room'"),
        ("setup", "conditions", "[]", "not an empty one"),
        ("setup", "conditions", '["../desk"]', "cannot name a condition"),
        ("setup", "conditions", '["Desk", "desk"]', "there twice"),
        ("setup", "conditions", '["figures"]', "that name is taken"),
        ("loudspeaker", "volume", "7", 'a text in quotes, such as "7"'),
        ("loudspeaker", "note", '"\\u001b[2J"', "without control characters"),
        ("loudspeaker", "unit", f"'{'W' * 201}'", "a text of at most 200 characters, not of 201"),
        ("loudspeaker", "note", f"'{'W' * 2001}'", "a text of at most 2,000 characters, not of 2,001"),
        ("report", "title", f"'{'W' * 1000}'", "a text of at most 200 characters, not of 1,000"),
        ("report", "credit", f"'{'W' * 1000}'", "a text of at most 200 characters, not of 1,000"),
        ("microphone", "response_file", f"'{'a/' * 150}b'", "a text of at most 200 characters, not of 301"),
        ("setup", "conditions", f"{[f'c{n}' for n in range(101)]}", "at most 100 of them, not 101"),
        ("levels", "db_spl", f"{[20 + n for n in range(101)]}", "at most 100 of them, not 101"),
        ("setup", "radiation", f"'{'x' * 1000}'", f"not 'xxxx{'x' * 35}...{'x' * 19}' (1,000 characters)"),
        ("setup", "distance_m", f"0x{'f' * 4000}", "from 0.005 to 100, not a number of thousands of digits"),
        ("loudspeaker", "volume", f"[{'1, ' * 1000}]", "1, 1] (3,000 characters)"),
        ("microphone", "response_file", '"/etc/mic.txt"', "inside the session folder"),
        ("microphone", "response_file", '"../mic.txt"', "inside the session folder"),
        ("microphone", "response_file", "'C:\\mic.txt'", "inside the session folder"),
        ("microphone", "response_is", '"inverse"', "one of 'response', 'correction'"),
        ("safety", "max_drive_dbfs", "1", "from -120 to 0"),
        ("sweep", "sample_rate", "48000.0", "a whole number"),
        ("sweep", "seconds", "nan", "from 0.1 to 600"),
        ("multitone", "spectrum", '"purple"', "one of 'pink'"),
        ("multitone", "periods", "8", "from 16 to 1000"),
        ("multitone", "seed", "-1", "from 0 to"),
        ("analysis", "orders", "1", "from 2 to 100"),
        ("analysis", "smoothing", '"2/3"', 'such as "1/12"'),
        ("analysis", "smoothing", '"1/100"', 'such as "1/12"'),
        ("analysis", "smoothing", "0.0833", 'such as "1/12"'),
        ("analysis", "response_files", '["../a.csv"]', "inside the session folder"),
    ],
)
def test_a_value_that_cannot_be_meant_is_one_sentence(section: str, key: str, value: str, said: str) -> None:
    others = "" if section == "loudspeaker" else "[loudspeaker]\nname = 'Monitor'\n"
    name = "name = 'Monitor'\n" if section == "loudspeaker" else ""
    message = refusal(f"format = 1\n{others}[{section}]\n{name}{key} = {value}")
    assert message.startswith(f"desk/session.toml: [{section}] {key} must be ")
    assert said in message


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[loudspeaker]\nname = 'a'", "format = 1"),
        ("format = 2\n[loudspeaker]\nname = 'a'", "format = 2"),
        ("format = true\n[loudspeaker]\nname = 'a'", "format = True"),
        ("format = 1", "[loudspeaker] needs name"),
        ("format = 1\n[loudspeaker]\nname = ' '", "not empty"),
        ("format = 1\nloudspeaker = 'a'", "must be a section"),
        ("format = 1\n[loudspeaker\nname = 'a'", "line 2"),
        ("format = 1\n[loudspeaker]\nname = a", "line 3"),
        ("format = 1\n[loudspeaker]\nname = 'a'\nname = 'b'", "line 4"),
        ("format = 1\na = " + "[" * 4000, "nested too deeply"),
        ("format = 1\n" + "a." * 40_000, "line 2 has 80,000 characters; up to 5,000 are read"),
        (
            "format = 1\n" + "a" * 4000 + " = 1",
            f"unknown section '{'a' * 39}...{'a' * 19}' (4,000 characters); the near",
        ),
    ],
)
def test_a_plan_that_is_none_is_one_sentence(text: str, said: str) -> None:
    message = refusal(text)
    assert "desk/session.toml" in message
    assert said in message
    assert len(message) < 300


def test_texts_as_long_as_they_may_be_are_read(tmp_path: Path) -> None:
    """Every one at its longest, a list of files included, is a plan that is small enough to be read again."""
    long = {"name": "W" * 200, "unit": "\N{CJK UNIFIED IDEOGRAPH-97F3}" * 200, "note": "\n" * 1999 + "."}
    plan = plan_of("")
    longest = replace(
        plan,
        loudspeaker=replace(plan.loudspeaker, **long),
        setup=replace(plan.setup, conditions=tuple(f"{'c' * 37}{n:03}" for n in range(100))),
        report=replace(plan.report, title='"' * 200, credit="\\" * 200),
        analysis=replace(plan.analysis, response_files=tuple(f"{n:03}{'f' * 197}" for n in range(20))),
    )
    (tmp_path / "session.toml").write_text(text_of(longest), encoding="utf-8")
    assert read_plan(tmp_path) == longest


@pytest.mark.parametrize(
    "text",
    ["format = 1\n" + ("a." * 2400 + "a = 1\n") * 20, "\n".join(f"[{'a.' * n}a]" for n in range(300)), "\n" * 99_990],
)
def test_no_plan_takes_long_to_be_refused(tmp_path: Path, text: str) -> None:
    """Keys of n parts take n^2 steps to read: one of 1 MB would take an hour."""
    (tmp_path / "session.toml").write_text(text, encoding="utf-8")
    started = time.process_time()
    with pytest.raises(PlanError):
        read_plan(tmp_path)
    assert time.process_time() - started < 10.0


def test_what_no_key_can_say_alone() -> None:
    assert "above [safety] ceiling_db_spl = 105" in refusal(SHORTEST + "[levels]\ndb_spl = [90, 106]")
    assert plan_of("[levels]\ndb_spl = [90, 106]\n[safety]\nceiling_db_spl = 106").levels.db_spl[-1] == 106
    assert "differ in sign" in refusal(SHORTEST + '[microphone]\nresponse_file = "calibration/m.txt"')
    assert "stop_hz = 22000 Hz is not below half" in refusal(SHORTEST + "[sweep]\nsample_rate = 44000")
    assert "start_hz < full_level_hz" in refusal(SHORTEST + "[sweep]\nstart_hz = 20")


def test_a_short_sweep_that_cannot_be_is_refused_only_where_it_is_wanted() -> None:
    """From 10 Hz to 22 kHz at least half of ln(2200) / 10 = 0.385 s rounds to a whole turn: 0.5 s does, 0.25 s not."""
    assert plan_of("[sweep]\nseconds = 0.5\nshort = false\n[analysis]\norders = 2").sweep.seconds == 0.5
    assert "cannot be synchronised in 0.25 s" in refusal(SHORTEST + "[sweep]\nseconds = 0.5")


def test_more_orders_than_the_sweep_can_tell_apart_are_refused_with_the_length_that_would_do() -> None:
    """Orders n and n + 1 arrive L ln((n + 1) / n) apart (Farina 2000), L = T / ln(f2 / f1), and 0.03 s are needed: for
    60 orders L = 1.815 s, rounded up to a whole turn at 10 Hz 1.9 s, and T = 1.9 ln(2200) = 14.62 s."""
    said = refusal(SHORTEST + "[analysis]\norders = 60")
    assert "60 orders cannot be told apart" in said
    assert "play one of at least 14.7 s" in said
    assert plan_of("[sweep]\nseconds = 14.7\n[analysis]\norders = 60").analysis.orders == 60


def test_missing_and_unreadable_files(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match=r"session\.toml is missing: make a session with"):
        read_plan(tmp_path)
    (tmp_path / "session.toml").write_bytes(b"format = 1\n# 20 \xb0C\n")
    with pytest.raises(PlanError, match=r"not UTF-8 text \(line 2\)"):
        read_plan(tmp_path)
    (tmp_path / "session.toml").unlink()
    (tmp_path / "session.toml").mkdir()
    with pytest.raises(PlanError, match=r"is a folder, where a file belongs"):
        read_plan(tmp_path)
    (tmp_path / "inside").mkdir()
    (tmp_path / "outside.toml").write_bytes(b"format = 1\n")
    (tmp_path / "inside/session.toml").symlink_to(tmp_path / "outside.toml")
    with pytest.raises(PlanError, match=r"is a link that leads out of the session"):
        read_plan(tmp_path / "inside")


def test_the_sweep_of_the_plan() -> None:
    plan = plan_of("[sweep]\nstart_hz = 20\nfull_level_hz = 30\nstop_hz = 20000\nseconds = 8\nlowest_hz = 50\n")
    sweep, short = sweep_stimulus(plan, drive_dbfs=-31.5), sweep_stimulus(plan, drive_dbfs=-31.5, short=True)
    assert (sweep.start_hz, sweep.full_level_hz, sweep.stop_hz, sweep.lowest_hz) == (20.0, 30.0, 20000.0, 50.0)
    assert (sweep.seconds, short.seconds) == (8.0, 4.0)
    assert (sweep.sample_rate, sweep.drive_dbfs) == (48000, -31.5)


@settings(max_examples=60, deadline=None)
@given(
    name=st.text(min_size=1, max_size=30).filter(lambda text: text.strip() and text.isprintable()),
    levels=st.lists(st.integers(2000, 10500), min_size=1, max_size=8, unique=True),
    distance=st.integers(5, 100_000),
)
def test_a_new_plan_says_what_was_asked(name: str, levels: list[int], distance: int) -> None:
    asked = tuple(sorted(level / 100 for level in levels))
    text = plan_text(name=name, levels_db_spl=asked, distance_m=distance / 1000, conditions=("stand", "desk"))
    plan = plan_from_text(text, source="a new plan")
    assert (plan.loudspeaker.name, plan.levels.db_spl, plan.setup.distance_m) == (name, asked, distance / 1000)
    assert plan.setup.conditions == ("stand", "desk")


def test_a_new_plan_has_every_key_in_order_with_words_beside_it(tmp_path: Path) -> None:
    text = plan_text(name='The "A"', levels_db_spl=(76, 86))
    write_plan(tmp_path, text)
    written: dict[str, list[str]] = {}
    for line in (tmp_path / "session.toml").read_text(encoding="utf-8").splitlines():
        if line.removeprefix("# ").startswith("["):
            written[line.removeprefix("# ").strip("[]")] = []
        elif written and " = " in line:
            key = line.removeprefix("# ").split(" = ")[0]
            written[list(written)[-1]].append(key)
            assert len(line.split("  # ", 1)[1]) > 5, line
    assert {section: keys for section, keys in written.items() if section not in OPTIONAL} == KEYS
    assert list(written) == list(SECTIONS)
    assert read_plan(tmp_path).loudspeaker.name == 'The "A"'
    with pytest.raises(SessionError, match="exists already"):
        write_plan(tmp_path, text)


def test_every_commented_key_of_a_new_plan_holds_once_it_is_uncommented() -> None:
    text = plan_text(name="a", levels_db_spl=(76,))
    bare = "\n".join(
        line.removeprefix("# ") if " = " in line or line.startswith("# [") else line for line in text.splitlines()
    )
    plan = plan_from_text(bare, source="a new plan")
    assert plan.microphone.response_file is not None
    assert plan.sweep.lowest_hz is not None
    assert plan.analysis.gate_ms is not None
    assert plan.analysis.response_files
    assert tomllib.loads(bare).keys() == {"format", *KEYS, *OPTIONAL}


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        ({"name": ""}, "not empty"),
        ({"levels_db_spl": ()}, "empty"),
        ({"levels_db_spl": (86, 76)}, "from the lowest"),
        ({"levels_db_spl": (90, 110)}, "above the ceiling"),
        ({"distance_m": float("nan")}, "distance_m"),
        ({"conditions": ("a b",)}, "cannot name a condition"),
    ],
)
def test_a_new_plan_that_cannot_be_is_refused(bad: dict[str, Any], said: str) -> None:
    asked: dict[str, Any] = {"name": "a", "levels_db_spl": (76,), **bad}
    with pytest.raises(UsageError, match=said):
        plan_text(**asked)


@pytest.mark.parametrize(
    ("text", "levels"),
    [
        ("76,86,96,102", (76, 86, 96, 102)),
        ("81:101:5", (81, 86, 91, 96, 101)),
        (" 76 , 86.5 ", (76, 86.5)),
        ("90", (90,)),
        ("90:102:1.5", (90, 91.5, 93, 94.5, 96, 97.5, 99, 100.5, 102)),
        ("80:81:0.1", (80, 80.1, 80.2, 80.3, 80.4, 80.5, 80.6, 80.7, 80.8, 80.9, 81)),
    ],
)
def test_levels_on_the_command_line(text: str, levels: tuple[float, ...]) -> None:
    assert parse_levels(text) == levels


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "not understood: write"),
        ("loud", "not understood: write"),
        ("86,76", "from the lowest"),
        ("86,86", "twice"),
        ("90:102:5", "do not end on 102"),
        ("90:102:0", "above 0"),
        ("102:90:1", "rising"),
        ("90:102", "first:last:step"),
        ("90:nan:1", "first:last:step"),
        ("76,nan", "from 20 to 140"),
        ("20:140:0.0001", "whole number of steps"),
    ],
)
def test_levels_that_are_none(text: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        parse_levels(text)


def test_conditions_on_the_command_line() -> None:
    assert parse_conditions("stand, desk") == ("stand", "desk")
    with pytest.raises(UsageError, match="cannot name a condition"):
        parse_conditions("stand,,desk")


def test_a_room_is_heard_neither_in_the_near_field_nor_without_a_loudspeaker() -> None:
    """Where none is heard, a channel as flat as a wire is no loopback."""
    plan = plan_of(
        '[setup]\nconditions = ["stand", "cone", "chain"]\n[analysis]\nchain_condition = "chain"\n'
        '[conditions.cone]\nradiation = "near-field"\ndistance_m = 0.01\n'
    )
    assert [plan.hears_a_room(one) for one in ("stand", "cone", "chain")] == [True, False, False]
