"""A long heating of which a stretch cannot be read: what came before it is kept, and the sentence says what to do."""

from contextlib import nullcontext
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.heating.places import Place
from distort.assembly.condition import heating as assembled
from distort.capture.heating import recorder as recorders
from distort.errors import AnalysisError
from signals import Multitone
from signals.heating import LEAST_PERIODS, Heating

HEATING = Heating(
    tone=Multitone(sample_rate=8000, low_hz=200.0, high_hz=3000.0, period_s=0.5), loud_periods=100, asked_periods=100
)


def spoilt(*_given, **_named):
    raise AnalysisError("its lines do not go on as they began")


@pytest.mark.parametrize(("read", "kept"), [(LEAST_PERIODS + 4, LEAST_PERIODS + 4), (LEAST_PERIODS - 4, None)])
def test_what_was_read_before_a_chunk_that_cannot_be_is_what_is_kept(read, kept) -> None:
    """Heard is more: 60 of the 100 periods."""
    playback = SimpleNamespace(heating=HEATING, begins=0)
    file = SimpleNamespace(write=lambda piece: None)
    one = recorders.HeatingRecorder(playback, file, delay_s=0.0, expected_dbfs=-20.0, what="desk/heating_91dB")
    one.examined = SimpleNamespace(alignment=SimpleNamespace(stimulus_start=0))
    one.heard = HEATING.loud_start + 60 * HEATING.tone.period_samples + HEATING.sample_rate
    whole = one.whole()
    assert whole is not None
    assert whole.loud_periods >= 60
    one._pieces = [np.zeros(100)]
    one._follower = SimpleNamespace(place=Place(start=0.0), read=spoilt, certain_periods=read)
    with pytest.raises(AnalysisError, match="as they began"):
        one(np.zeros(100))
    whole = one.whole()
    assert (whole and whole.loud_periods) == kept


def test_an_analysis_names_the_recording_and_how_to_go_on_without_it(monkeypatch) -> None:
    files = SimpleNamespace(audio_path="desk/heating_91dB.flac", sidecar_path="desk/heating_91dB.json")
    sidecar = SimpleNamespace(
        stimulus=HEATING, sample_rate=8000, recording_sha256="", channel=1, stimulus_start_sample=0,
        condition="desk", name=SimpleNamespace(stem="heating_91dB"), level_db_spl=91.0,
    )  # fmt: skip
    monkeypatch.setattr(assembled, "require_same_file", lambda *given: None)
    monkeypatch.setattr(assembled, "open_long", lambda *given, **named: nullcontext(SimpleNamespace(part=None)))
    monkeypatch.setattr(assembled, "powers_of", spoilt)
    with pytest.raises(AnalysisError, match=r"desk/heating_91dB\.flac: its lines .*reject desk/heating_91dB"):
        assembled._read(SimpleNamespace(files=files, sidecar=sidecar))
