"""A sound system of its own: a PulseAudio server whose null sink plays into nothing, and whose monitor hears it.

As a program it runs a command inside such a system: `python -m tests.sound_server COMMAND WORD...`.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

DEMANDED = "DISTORT_SOUND_CARD"
"""Set to 1 in the environment of a command that runs inside the system: tests of the sound card must then run."""

ALSA = "pcm.!default { type pulse }\nctl.!default { type pulse }\n"

START_S = 20.0


def installed() -> bool:
    """Whether such a system can be made here."""
    return shutil.which("pulseaudio") is not None and shutil.which("parec") is not None


@contextmanager
def sound_server() -> Iterator[dict[str, str]]:
    """Runs the server; gives the environment in which PortAudio finds it as the default of ALSA."""
    with tempfile.TemporaryDirectory(prefix="sound-") as name:
        folder = Path(name)
        (folder / "asound.conf").write_text(ALSA, encoding="ascii")
        socket = folder / "native"
        own = dict.fromkeys(("HOME", "XDG_RUNTIME_DIR", "PULSE_RUNTIME_PATH", "PULSE_STATE_PATH"), name)
        modules = [
            f"module-native-protocol-unix socket={socket} auth-anonymous=1",
            "module-null-sink sink_name=wire format=float32le rate=48000 channels=2",
        ]
        with (folder / "log").open("wb") as log:
            server = subprocess.Popen(
                ["pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1", "--disable-shm=yes"]
                + [f"--load={module}" for module in modules],
                env=os.environ | own,
                stdout=log,
                stderr=log,
            )
        try:
            _wait_for(socket, server, folder / "log")
            yield {"PULSE_SERVER": f"unix:{socket}", "ALSA_CONFIG_PATH": str(folder / "asound.conf")}
        finally:
            server.terminate()
            server.wait(timeout=START_S)


def _wait_for(socket: Path, server: subprocess.Popen[bytes], log: Path) -> None:
    until = time.monotonic() + START_S
    while not socket.exists():
        if server.poll() is not None or time.monotonic() > until:
            raise RuntimeError(f"the sound server did not start:\n{log.read_text(encoding='utf-8')}")
        time.sleep(0.05)


if __name__ == "__main__":
    with sound_server() as environment:
        done = subprocess.run(sys.argv[1:], env=os.environ | environment | {DEMANDED: "1"}, check=False)
    sys.exit(done.returncode)
