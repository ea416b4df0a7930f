"""The sound card over a wire: what it plays on an output channel comes back on the input channel of that number."""

import os
from collections.abc import Iterator

import pytest

from tests.sound_server import DEMANDED, go_first, installed, sound_server


@pytest.fixture(scope="session")
def wire() -> Iterator[None]:
    """A virtual sound card whose output is its input; a server of its own unless the tests run inside one."""
    if os.environ.get(DEMANDED) == "1":  # and then in its priority, too
        yield
        return
    if not installed():
        pytest.skip("PulseAudio is not installed, so there is no virtual sound card")
    go_first()
    with sound_server() as environment, pytest.MonkeyPatch.context() as patch:
        for name, value in environment.items():
            patch.setenv(name, value)
        _require_card()
        yield


def _require_card() -> None:
    from distort.capture.devices.sound_systems import list_cards
    from distort.errors import DeviceError

    try:
        list_cards()
    except DeviceError as error:
        pytest.skip(f"PulseAudio is there, but not what leads PortAudio to it: {error}")
