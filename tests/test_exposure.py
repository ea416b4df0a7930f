"""What is said before the first sound, and what is left of the day: shares by the published table, energy by hand."""

import json
import math
import shutil
from dataclasses import replace

import numpy as np
import pytest

from distort.__main__ import main
from distort.capture.measuring.exposure import DayExposure, last_day, permitted_hours, share_of_day
from distort.capture.measuring.steps import planned_levels, steps
from distort.report.text.plan import before_sentences, day_sentences, switched_on_sentences
from distort.session.audio.original import Original
from distort.session.plan.reading import plan_from_text
from distort.session.plan.template import plan_text
from distort.session.recordings.sounded import Sounded
from distort.session.recordings.stimulus_files import drives_dbfs, planned
from signals import Multitone, Sweep, framed
from tests.session_examples import SIDECAR

pytest_plugins = ["tests.small_sessions"]


def plan_with(*changes: tuple[str, str]):
    text = plan_text(name="Monitor A", levels_db_spl=(85.0, 100.0))
    for old, new in (("seconds = 10 ", "seconds = 4 "), ("orders = 10", "orders = 4"), *changes):
        assert old in text
        text = text.replace(old, new)
    return plan_from_text(text, source="the plan")


def test_shares_of_a_day_are_those_of_the_published_table() -> None:
    """NIOSH publication 98-126, table 1-1: 85 dB(A) 8 h, 88 dB(A) 4 h, 94 dB(A) 1 h, 100 dB(A) 15 min; doses add."""
    for level, hours in ((85.0, 8.0), (88.0, 4.0), (94.0, 1.0), (100.0, 0.25)):
        assert permitted_hours(level) == pytest.approx(hours)
        assert share_of_day([(level, 3600.0 * hours)]) == pytest.approx(1.0)
    assert share_of_day([(85.0, 4 * 3600.0), (100.0, 225.0)]) == pytest.approx(0.75)
    day = DayExposure(date="2024-05-01", recordings=3, share=0.75)
    assert day.left_s(94.0) == pytest.approx(900.0)
    assert replace(day, share=1.2).left_s(94.0) == 0.0


def test_what_is_planned_is_summed_by_hand() -> None:
    """The energy of a sine at the sweep's drive lasts as long as the sweep, but for its fades of some tenths of a
    second; a multitone's, whose drive is its r.m.s., the same. Exposure counts the stimuli without their silences."""
    plan = plan_with(("repeat_reference = true", "repeat_reference = false"))
    wanted = steps(plan, planned(plan, drives_dbfs(plan, None)))
    quiet, loud = planned_levels(wanted)
    assert loud.drive_dbfs - quiet.drive_dbfs == pytest.approx(15.0)
    sweeps = [step.item.stimulus for step in wanted if isinstance(step.item.stimulus, Sweep)]
    tones = [step.item.stimulus for step in wanted if isinstance(step.item.stimulus, Multitone)]
    seconds = sum(one.n_samples / one.sample_rate for one in (*sweeps, *tones)) / 2.0
    for level in (quiet, loud):
        assert level.sounding_s == pytest.approx(seconds)
        # chirps stand beside the stimuli, and fades take some of them: together under a tenth
        assert level.energy_s == pytest.approx(seconds * 10.0 ** (level.drive_dbfs / 10.0), rel=0.1)
    said = list(before_sentences(wanted, plan, condition="desk"))
    minutes = round((quiet.seconds + loud.seconds + 20.0 * (len(wanted) - 1)) / 60.0)
    assert said[1:5] == [
        f"Planned in condition desk: {len(wanted)} recordings, after a quiet sweep.",
        "  Order: levels from the quietest up, at each sweep, sweep-short, multitone.",
        f"  With rests it takes {minutes} min.",
        "  A recording that is no good is played once more, which counts as well.",
    ]
    # 10^1.5 times the energy of the quiet level: 31.6 of 32.6 parts
    assert said[5].endswith("97 % of it at that level.")
    share = math.ceil(100.0 * (seconds / 28800.0 + seconds / 900.0))
    assert said[6].startswith(f"  Exposure at 1 m without protection: {share} % of what NIOSH permits a day")
    assert "Your local rules come first" in said[6]
    assert list(before_sentences((), plan, condition="desk")) == []


def test_repeats_of_the_reference_are_told_last() -> None:
    plan = plan_with()
    wanted = steps(plan, planned(plan, drives_dbfs(plan, None)))
    said = list(before_sentences(wanted, plan, condition="desk"))
    assert said[2].endswith("multitone; then sweep_85dB_after, sweep_85dB_take2_after.")


def test_an_active_loudspeaker_is_warm_and_awake() -> None:
    """The rest before the last repeat of the reference is a minute."""
    (said,) = switched_on_sentences(plan_with())
    assert "about 30 min before the first sound" in said
    assert "standby off" in said
    warm = plan_with(("# warm_up_min = 30", "warm_up_min = 45"), ("# standby_min = 15", "standby_min = 1"))
    said, careful = switched_on_sentences(warm)
    assert "45 min (warm_up_min in the plan) before" in said
    assert "turns itself off after 1 min of quiet, and the plan rests for 60 s" in careful
    assert len(list(switched_on_sentences(plan_with(("# standby_min = 15", "standby_min = 1.1"))))) == 1


def test_the_day_is_that_of_the_latest_recordings() -> None:
    """Two sweeps of 9 s at 100 dB SPL, 15 min permitted: 2 %. Another date, and what nobody heard, does not count; a
    rejected one has sounded."""
    sweep = Sweep(seconds=9.0, drive_dbfs=SIDECAR.drive_dbfs)
    seconds = sweep.n_samples / sweep.sample_rate

    def recorded(date: str, **more):
        changes = {
            "simulated": False,
            "level_db_spl": 100.0,
            "stimulus": sweep,
            "reel": framed(sweep),
            "original": None,
        }
        return replace(SIDECAR, date=date, **(changes | more))

    first, second = recorded("2024-05-02T09:00:00+00:00"), recorded("2024-05-02T10:00:00+00:00", rejected="a lorry")
    found = last_day(
        [recorded("2024-05-01T23:00:00+00:00"), first, second, recorded("2024-05-03T10:00:00+00:00", simulated=True)]
    )
    assert (found.date, found.recordings) == ("2024-05-02", 2)
    assert found.share == pytest.approx(2.0 * seconds / 900.0)
    assert last_day([recorded("2024-05-03T10:00:00+00:00", simulated=True)]) is None
    (said,) = day_sentences(found, plan_with())
    assert said.startswith("Exposure on 2024-05-02 (2 recordings of that date in this session;")
    assert f"{math.ceil(100.0 * found.share)} % of what NIOSH permits" in said
    assert f"left at 100 dB SPL: {int(60.0 * (1.0 - found.share) * 0.25)} min" in said
    (said,) = day_sentences(replace(found, share=1.0), plan_with())
    assert "nothing is left" in said
    # 90 s at 100 dB SPL that were broken off are 10 % more; what was kept counts as its recording, another day does not
    broken = Sounded(
        recording="desk/sweep_100dB",
        level_db_spl=100.0,
        seconds=90.0,
        began="2024-05-02T11:00:00+00:00",
        ended="2024-05-02T11:01:30+00:00",
        rest_s=20.0,
        simulated=False,
    )
    others = (
        replace(broken, kept=True),
        replace(broken, began="2024-05-01T23:00:00+00:00"),
        replace(broken, simulated=True),
    )
    more = last_day([first, second], (broken, *others))
    assert (more.recordings, more.not_kept) == (2, 1)
    assert more.share - found.share == pytest.approx(0.1)
    (said,) = day_sentences(more, plan_with())
    assert "(2 recordings of that date in this session, 1 more broken off or no good; what else" in said
    assert list(day_sentences(None, plan_with())) == []
    brought = Original(sha256="a" * 64, began="2024-04-30T10:00:00", began_from="bext", kept=False)
    assert last_day([recorded("2024-05-03T10:00:00+00:00", original=brought)]).date == "2024-04-30"


@pytest.mark.sample
def test_check_tells_what_is_left(analysed, tmp_path, capsys) -> None:
    session = shutil.copytree(analysed, tmp_path / "m")
    assert main(["check", str(session)]) == 1
    assert "recordings of that date in this session" in capsys.readouterr().out
    assert main(["check", str(session), "--json"]) == 1
    day = json.loads(capsys.readouterr().out)["day"]
    assert day["recordings"] == 2
    assert np.isclose(day["share"], share_of_day([(76.0, 1.6), (86.0, 1.6)]), rtol=0.3)
