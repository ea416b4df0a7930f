"""A codec on the way to the loudspeaker is in the numbers, and the summary says so."""

from dataclasses import replace
from pathlib import Path

import pytest

from distort.session.files.folder import SessionFolder
from distort.session.recordings.stored import Recording, coded_link
from tests.session_examples import SIDECAR


def recorded(*, named="balanced", device="interface"):
    sidecar = replace(SIDECAR, loudspeaker=replace(SIDECAR.loudspeaker, input=named), device=device)
    return Recording(files=SessionFolder(Path("s")).recording(sidecar.condition, sidecar.name), sidecar=sidecar)


@pytest.mark.parametrize("named", ["Bluetooth", "wireless, from the phone", "Wi-Fi", "Network"])
def test_an_input_that_codes_is_named(named):
    assert coded_link([recorded(), recorded(named=named)]) == f'the input is "{named}"'


@pytest.mark.parametrize("named", ["", "balanced", "XLR from the broadcast desk of the radio station"])
def test_a_cable_is_no_link(named):
    assert coded_link([recorded(named=named)]) is None


def test_a_reel_comes_over_a_way_that_nobody_stated():
    from_reel = recorded(device="recorded elsewhere (take.wav, the reel reel_up_to_86dB, SHA-256 0123456789abcdef)")
    assert "a reel was played" in str(coded_link([recorded(), from_reel]))
