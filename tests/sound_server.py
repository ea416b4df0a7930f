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
from contextlib import contextmanager, suppress
from pathlib import Path

DEMANDED = "DISTORT_SOUND_CARD"
"""Set to 1 in the environment of a command that runs inside the system: tests of the sound card must then run."""

ALSA = """
pcm.!default { type pulse }
ctl.!default { type pulse }
pcm.loudspeaker { type pulse device amplifier hint { show on description "what the loudspeaker plays" } }
pcm.microphone { type pulse device microphone.monitor hint { show on description "what the microphone hears" } }
"""
"""With a hint each becomes a device of its own."""

MODULES = """
load-module module-null-sink sink_name=wire format=float32le rate=48000 channels=2
load-module module-null-sink sink_name=amplifier format=float32le rate=48000 channels=2
load-module module-null-sink sink_name=microphone format=float32le rate=48000 channels=2
set-default-sink wire
set-default-source wire.monitor
load-module module-native-protocol-unix socket={socket} auth-anonymous=1
"""
"""A wire, which is the default; and two sinks between which `tests/answering_loudspeaker.py` answers.

The way to all of it is opened last."""

START_S = 20.0

FIRST = ("nice", "-n", "-15")
"""A sound system goes before other work; where the account may not say so, it is left with a warning as it is."""


def installed() -> bool:
    """Whether such a system can be made here."""
    return shutil.which("pulseaudio") is not None and shutil.which("parec") is not None


def go_first() -> None:
    """Let this process, too, go before other work, where its account may say so."""
    with suppress(PermissionError):
        os.setpriority(os.PRIO_PROCESS, 0, -15)


@contextmanager
def sound_server() -> Iterator[dict[str, str]]:
    """Runs the server; gives the environment in which PortAudio finds it as the default of ALSA."""
    with tempfile.TemporaryDirectory(prefix="sound-") as name:
        folder = Path(name)
        (folder / "asound.conf").write_text(ALSA, encoding="ascii")
        socket = folder / "native"
        own = dict.fromkeys(("HOME", "XDG_RUNTIME_DIR", "PULSE_RUNTIME_PATH", "PULSE_STATE_PATH"), name)
        (folder / "modules.pa").write_text(MODULES.format(socket=socket), encoding="ascii")
        with (folder / "log").open("wb") as log:
            server = subprocess.Popen(
                [
                    *FIRST,
                    "pulseaudio",
                    "-n",
                    "--daemonize=no",
                    "--use-pid-file=no",
                    "--exit-idle-time=-1",
                    "--disable-shm=yes",
                    "-F",
                    str(folder / "modules.pa"),
                ],
                env=os.environ | own,
                stdout=log,
                stderr=log,
            )
        try:
            _wait_for(socket, server, folder / "log")
            environment = {"PULSE_SERVER": f"unix:{socket}", "ALSA_CONFIG_PATH": str(folder / "asound.conf")}
            with _awake("wire.monitor", os.environ | environment):
                yield environment
        finally:
            server.terminate()
            server.wait(timeout=START_S)


@contextmanager
def _awake(source: str, environment: dict[str, str]) -> Iterator[None]:
    """Somebody listens to `source` all the time: an idle sink hands over every 2 s, which each stream waits for."""
    words = ["parec", f"--device={source}", "--latency-msec=10", "--rate=48000", "--channels=2", "--format=float32le"]
    listener = subprocess.Popen(words, env=environment, stdout=subprocess.DEVNULL)
    try:
        yield
    finally:
        listener.terminate()
        listener.wait(timeout=START_S)


def _wait_for(socket: Path, server: subprocess.Popen[bytes], log: Path) -> None:
    until = time.monotonic() + START_S
    while not socket.exists():
        if server.poll() is not None or time.monotonic() > until:
            raise RuntimeError(f"the sound server did not start:\n{log.read_text(encoding='utf-8')}")
        time.sleep(0.05)


if __name__ == "__main__":
    go_first()
    with sound_server() as environment:
        done = subprocess.run(sys.argv[1:], env=os.environ | environment | {DEMANDED: "1"}, check=False)
    sys.exit(done.returncode)
