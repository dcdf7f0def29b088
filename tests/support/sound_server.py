"""A private sound server without hardware: PulseAudio with a null sink that gives back what was played."""

from __future__ import annotations

import ctypes.util
import os
import shutil
import signal
import subprocess
import time
from pathlib import Path
from types import TracebackType
from typing import Self

FIRST = ("nice", "-n", "-10") if hasattr(os, "geteuid") and os.geteuid() == 0 else ()
"""Before what has to be in time while other tests run, as desktops do it for sound; root alone may."""
SINK = "null48"
DESK = "desk"
"""A second sink: what programs play into it is what the input device of that name gives."""
_FOUR = "front-left,front-right,rear-left,rear-right"
WIDE, NEAR, FAR = "wide", "near", "far"
"""One sink of four channels, and its halves: see `SoundServer.plug_in_wide`."""
RATE = 48_000

_ASOUND = """
</usr/share/alsa/alsa.conf>
pcm.!default { type pulse  hint { show on  description "default via pulse" } }
ctl.!default { type pulse }
pcm.pulse    { type pulse }
pcm.other    { type pulse  hint { show on  description "the same sink once more" } }
"""
_ASOUND_DESK = f"""
pcm.{DESK}     {{ type pulse  device "{DESK}.monitor"  hint {{ show on  description "a desk" }} }}
"""


def _null_sink(name: str) -> list[str]:
    """How a null sink is asked for."""
    return [
        f"sink_name={name}",
        "format=float32le",
        f"rate={RATE}",
        "channels=2",
        "channel_map=front-left,front-right",
        "norewinds=1",
    ]


def missing() -> str | None:
    """What is not installed here, or None."""
    for program in ("pulseaudio", "pactl", "parec"):
        if shutil.which(program) is None:
            return f"{program} is not installed"
    if ctypes.util.find_library("portaudio") is None:
        return "PortAudio is not installed"
    if not Path("/usr/share/alsa/alsa.conf").exists():
        return "ALSA's configuration is not installed"
    return None


class SoundServer:
    """Runs while the context lasts. Its clients need ``environment``. ``desk``: with an input as well."""

    def __init__(self, folder: Path, desk: bool = False) -> None:
        self._folder, self._desk = folder, desk
        socket = folder / "run" / "native.sock"
        self._socket = socket
        self.environment = {
            **os.environ,
            "HOME": str(folder),
            "XDG_RUNTIME_DIR": str(socket.parent),
            "XDG_STATE_HOME": str(folder / "state"),
            "PULSE_SERVER": f"unix:{socket}",
            "PULSE_COOKIE": str(folder / "cookie"),
            "PULSE_CLIENTCONFIG": str(folder / "client.conf"),
            "ALSA_CONFIG_PATH": str(folder / "asound.conf"),
        }
        self._process: subprocess.Popen[bytes] | None = None
        self._others: list[subprocess.Popen[bytes]] = []

    def __enter__(self) -> Self:
        self._socket.parent.mkdir(mode=0o700)
        # A client must not start a server of its own, or a killed one would come back.
        (self._folder / "client.conf").write_text("autospawn = no\nenable-shm = no\n")
        (self._folder / "asound.conf").write_text(_ASOUND + _ASOUND_DESK * self._desk)
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for process in self._others:
            process.kill()
            process.wait()
        self.kill()

    def start(self) -> None:
        """Start it (again), and wait until it answers."""
        self._socket.unlink(missing_ok=True)
        null_sink = " ".join(["module-null-sink", *_null_sink(SINK)])
        command = [
            *(
                *FIRST,
                "pulseaudio",
                "-n",
                "--daemonize=no",
                "--use-pid-file=no",
                "--exit-idle-time=-1",
            ),
            *("--disallow-exit", "--realtime=no", "--high-priority=no", "--disable-shm=yes"),
            f"--load=module-native-protocol-unix auth-anonymous=1 socket={self._socket}",
            f"--load={null_sink}",
        ]
        with (self._folder / "server.log").open("ab") as log:
            self._process = subprocess.Popen(command, env=self.environment, stdout=log, stderr=log)
        for _ in range(200):
            if self._control("info") == 0:
                if self._desk:
                    self.plug_in()
                return
            time.sleep(0.05)
        raise RuntimeError((self._folder / "server.log").read_text())

    def kill(self) -> None:
        """End it without warning."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()

    def freeze(self) -> None:
        """Stop it in its tracks."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def suspend(self, on: bool) -> None:
        """Suspend the sink, or let it go on."""
        assert self._control("suspend-sink", SINK, str(int(on))) == 0

    def plug_in(self) -> None:
        """Have the desk, as what is recorded from; bench and recorder go on playing to `SINK`."""
        assert self._control("load-module", "module-null-sink", *_null_sink(DESK)) == 0
        assert self._control("set-default-sink", SINK) == 0
        assert self._control("set-default-source", f"{DESK}.monitor") == 0

    def plug_in_wide(self) -> None:
        """The same with both sinks as halves of one of four channels: its monitor tells both in one time."""
        pair = "front-left,front-right"
        whole = [f"channel_map={_FOUR}" if "map" in part else part for part in _null_sink(WIDE)]
        whole = ["channels=4" if "channels" in part else part for part in whole]
        assert self._control("load-module", "module-null-sink", *whole) == 0
        for kind, name, master, of in (
            ("sink", NEAR, WIDE, pair),
            ("source", f"{NEAR}_monitor", f"{WIDE}.monitor", pair),
            ("sink", FAR, WIDE, "rear-left,rear-right"),
        ):
            remap = [f"{kind}_name={name}", f"master={master}", f"channel_map={pair}"]
            remap += [f"master_channel_map={of}", "channels=2", "remix=no"]
            assert self._control("load-module", f"module-remap-{kind}", *remap) == 0
        assert self._control("set-default-sink", FAR) == 0
        assert self._control("set-default-source", f"{NEAR}_monitor") == 0

    def hold_desk(self, held: bool) -> None:
        """Stop the desk, and what is recorded from it, or let it go on."""
        assert self._control("suspend-sink", DESK, str(int(held))) == 0

    def play_at_desk(self, path: Path, sink: str = DESK) -> subprocess.Popen[bytes]:
        """Let another program play bare float32 in two channels into the desk."""
        process = subprocess.Popen(
            [
                *(*FIRST, "pacat", "--playback", "--raw", "--format=float32le", f"--rate={RATE}"),
                *("--channels=2", "-d", sink, str(path)),
            ],
            env=self.environment,
        )
        self._others.append(process)
        return process

    def record(self, path: Path, sink: str = SINK, channels: int = 2) -> subprocess.Popen[bytes]:
        """Record what is played into ``path``, as bare float32, until terminated."""
        with path.open("wb") as file:
            process = subprocess.Popen(
                [
                    *(*FIRST, "parec", "--raw", "--format=float32le", f"--rate={RATE}"),
                    *(
                        f"--channels={channels}",
                        f"--channel-map={','.join(_FOUR.split(',')[:channels])}",
                    ),
                    *("-d", f"{sink}.monitor", "--latency-msec=50"),
                ],
                env=self.environment,
                stdout=file,
            )
        self._others.append(process)
        return process

    def _control(self, *arguments: str) -> int:
        return subprocess.run(
            ["pactl", *arguments], env=self.environment, capture_output=True, check=False
        ).returncode
