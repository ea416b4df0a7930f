"""distort listeners: what listeners saved is added up, nothing chosen, nothing twice; what does not fit is refused."""

import copy
import json

import pytest

from distort import __main__ as program

PAIRS = [
    {
        "pair": f"desk_96dB_{name}",
        "title": title,
        "kind": name,
        "frequency_hz": None,
        "condition": "desk",
        "level_db_spl": 96,
        "source": "recorded",
        "simulated": True,
    }
    for name, title in (("distortion", "With and without distortion"), ("control", "The same sound twice"))
]


def run(number: int, right: int, *, trials: int = 16, pair: str = "distortion", listener: str = "1") -> dict:
    """A run with the first `right` of `trials` answers right."""
    answers = [{"x": "A", "said": "A" if place < right else "B"} for place in range(trials)]
    return {
        "number": number,
        "run": f"{listener}-{number}",
        "pair": f"desk_96dB_{pair}",
        "started": f"2026-01-01T10:{number:02d}:00Z",
        "trials": 16,
        "loop_s": [0, 3.5],
        "gain_db": [-0.5, 0],
        "answers": answers,
        "right": right,
        "finished": trials == 16,
    }


def saved(*runs: dict, listener: str = "1") -> dict:
    return {
        "format": 1,
        "test": "0" * 64,
        "loudspeaker": "our-monitor",
        "software": "distort 0.1.0",
        "listener": listener,
        "kept_by_browser": True,
        "pairs": PAIRS,
        "runs": list(runs),
    }


@pytest.fixture
def added(tmp_path, capsys):
    """Adds up what it is given; returns the exit status, what was printed and what was complained of."""

    def add(*results: dict, words: tuple[str, ...] = ()) -> tuple[int, str, str]:
        paths = []
        for place, result in enumerate(results):
            paths.append(tmp_path / f"{place}.json")
            paths[-1].write_text(json.dumps(result), encoding="utf-8")
        status = program.main(["listeners", *words, *map(str, paths)])
        said = capsys.readouterr()
        return status, said.out, said.err

    return add


def first_pair(out: str) -> dict:
    return json.loads(out)["pairs"][0]


def test_all_runs_of_a_listener_are_added_broken_off_ones_too(added) -> None:
    """15 + 3 right of 16 + 5; P(K >= 18 of 21) = (1330 + 210 + 21 + 1) / 2^21, and under 2.5 % for two pairs."""
    status, out, _ = added(saved(run(1, 15), run(2, 3, trials=5)), words=("--json",))
    assert status == 0
    found = first_pair(out)
    assert (found["right"], found["trials"], found["runs"], found["broken_off"]) == (18, 21, 2, 1)
    assert found["probability_by_guessing"] == pytest.approx(1562 / 2**21)
    assert found["shown"] is True


def test_a_run_in_two_files_counts_once_as_far_as_it_went(added) -> None:
    early = saved(run(1, 5, trials=5))
    late = saved(run(1, 12), run(2, 8))
    status, out, _ = added(early, late, late, words=("--json",))
    assert status == 0
    document = json.loads(out)
    assert (document["listeners"], document["runs"], document["repeated"], document["files"]) == (1, 2, 3, 3)
    assert (first_pair(out)["right"], first_pair(out)["trials"]) == (20, 32)


def test_what_is_not_shown_is_never_called_inaudible(added) -> None:
    """9 of 16: the exact 95 % interval ends at 80.25 % (scipy 1.17, binomtest), rounded up to 81 %."""
    _, out, _ = added(saved(run(1, 9), run(2, 8, pair="control")))
    assert "With and without distortion, desk, 96 dB, recorded: not shown; a share right above 81 % is excluded." in out
    assert "The same sound twice, desk, 96 dB, recorded: not told apart, as it must be." in out
    assert "audible" not in out
    assert "does not prove that nobody changed them" in out
    assert "Simulated loudspeaker, not a measurement." in out


def test_a_control_that_is_told_apart_spoils_the_rest(added) -> None:
    _, out, _ = added(saved(run(1, 16, pair="control")))
    assert "believe none of these results" in out


def test_a_browser_that_keeps_nothing_is_told_of(added) -> None:
    _, out, _ = added({**saved(run(1, 9)), "kept_by_browser": False})
    assert "1 file came from a browser that keeps nothing" in out


def changed(result: dict, *place_and_value: object) -> dict:
    """A copy with one thing changed: keys that lead to it, then what stands there."""
    *way, last, value = place_and_value
    copied = copy.deepcopy(result)
    at = copied
    for key in way:
        at = at[key]
    at[last] = value
    return copied


GOOD = saved(run(1, 9), run(2, 8))

CONTRADICTIONS = {
    "numbers": (changed(GOOD, "runs", 1, "number", 3), "numbered 1, 2, 3"),
    "a run left out": (changed(GOOD, "runs", GOOD["runs"][1:]), "numbered 1, 2, 3"),
    "identifiers": (changed(GOOD, "runs", 1, "run", "1-1"), "two of its runs have one identifier"),
    "times": (changed(GOOD, "runs", 1, "started", "2025-01-01T00:00:00Z"), "a later run started before"),
    "sum": (changed(GOOD, "runs", 0, "right", 16), "run 1 says that 16 answers are right, and 9 are"),
    "end": (changed(GOOD, "runs", 0, "finished", False), "run 1 is called finished and is not"),
    "too many": (changed(GOOD, "runs", 0, "trials", 12), "run 1 has 16 answers of 12 trials"),
    "pair": (changed(GOOD, "runs", 0, "pair", "stand"), "run 1 is of 'stand', which was not offered"),
    "pairs": (changed(GOOD, "pairs", [PAIRS[0], PAIRS[0]]), "offers a pair twice"),
    "key": (changed(GOOD, "name", "Anna"), "unknown: name"),
}


@pytest.mark.parametrize(("result", "fault"), CONTRADICTIONS.values(), ids=CONTRADICTIONS)
def test_a_file_that_contradicts_itself_is_refused_in_a_sentence(added, result, fault) -> None:
    status, out, complaint = added(GOOD, result)
    assert (status, out) == (1, "")
    assert "1.json" in complaint
    assert fault in complaint
    assert complaint.count("\n") == 1


def test_files_that_contradict_one_another_are_refused(added) -> None:
    status, _, complaint = added(GOOD, saved(run(1, 12)))
    assert status == 1
    assert "1.json contradicts another file of the same listener about run 1" in complaint
    status, _, complaint = added(GOOD, changed(GOOD, "test", "1" * 64))
    assert status == 1
    assert "1.json is of another blind test than" in complaint
    status, _, complaint = added(GOOD, saved(run(1, 9), listener="2"))
    assert status == 1
    assert "1.json holds run 1 of another listener's file" in complaint


def test_nobody_has_answered_yet(added) -> None:
    status, _, complaint = added(saved(run(1, 0, trials=0)))
    assert status == 1
    assert "nobody has answered a trial yet" in complaint


def test_from_five_listeners_on_the_interval_is_about_listeners_like_these(added) -> None:
    results = [
        saved(run(1, right, listener=name), listener=name)
        for name, right in zip("abcde", (16, 16, 8, 8, 8), strict=True)
    ]
    _, out, _ = added(*results, words=("--json",))
    assert first_pair(out)["interval_of"] == "listeners like these"
    _, out, _ = added(*results[:4], words=("--json",))
    assert first_pair(out)["interval_of"] == "these listeners"
