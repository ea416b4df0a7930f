"""The command that plays a multitone for minutes, on a sound card without a clock: some seconds in place of minutes."""

from dataclasses import replace
from pathlib import Path

import pytest

from distort.capture.heating import starting
from tests.clumsy_session import CommandLine
from tests.test_answering_at_once import CARDS, card, distort, recorded, session

__all__ = ["card", "distort"]

pytestmark = pytest.mark.study


def test_it_is_asked_for_played_kept_and_checked(card, tmp_path: Path, distort: CommandLine, monkeypatch) -> None:
    whole = starting.heating_of

    def some_seconds(*given):
        heating, repeated = whole(*given)
        assert heating.loud_s == 600.0
        return replace(heating, loud_periods=16, asked_periods=16, pilots_after_s=(0.0,)), repeated

    monkeypatch.setattr(starting, "heating_of", some_seconds)
    library = card()
    folder = session(tmp_path, "82")
    plan = folder / "session.toml"
    asked = [line.removeprefix("# ") if "long_minutes" in line else line for line in plan.read_text().splitlines()]
    plan.write_text("\n".join(asked).replace("long_minutes = 15", "long_minutes = 10") + "\n")
    measure = ("measure", folder, "--yes", *CARDS)
    early = distort(*measure, "--heating", "82")
    assert (early.status, library.played.size) == (2, 0)
    assert "no multitone of 82 dB SPL" in early.err
    distort.done(*measure)
    said = " ".join(distort.done(*measure, "--heating", "82").split())
    assert "never leave equipment that plays loud unattended" in said
    assert recorded(folder) == {"sweep_82dB", "multitone_82dB", "heating_82dB"}
    assert "You may pack up: all 2 recordings" in distort("check", folder).out
