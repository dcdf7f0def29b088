"""The audio device: opened, watched, lost and found again; and the bench that a screen talks to.

The only module that knows PortAudio. What a sound server does when it goes wrong (measured, PortAudio
19.6 on ALSA): killed, the stream ends without an error; frozen or suspended, the callbacks just stop, and
every call into PortAudio may block for good. So such calls are made in threads that can be left behind,
and whether there is sound is seen from the callback alone.
"""

from __future__ import annotations

import atexit
import gc
import math
import queue
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

from auralize.audio.reader import probe
from auralize.gains import Heard, Match
from auralize.live.device import (
    Call,
    Device,
    DeviceError,
    Stream,
    StuckError,
    chosen_device,
    output_devices,
    playing_rate,
    restart,
)
from auralize.live.listening import START_VOLUME, Listening, Wanted, renewed
from auralize.live.player import Entry, Setup, Volume
from auralize.live.protocol import EngineLike
from auralize.live.quiet_stderr import QuietStderr
from auralize.live.remembered import Volumes, state_path
from auralize.live.status import Event, EventKind, State, Status
from auralize.rig.reading import Choice
from auralize.units import amplitude

BUFFER: Final = 0.045
"""s of sound that a device is first asked to hold; doubled when it had a gap."""
MOST_BUFFER: Final = 0.2
"""s"""
SILENT_AFTER: Final = 0.7
"""s without a callback after which the device is said to be silent."""
LOOK: Final = 0.1
"""s between two looks at the device."""
AGAIN_AFTER: Final = 1.0
"""s between two attempts to open a device."""
OPEN_LIMIT: Final = 3.0
"""s that opening may take before the sound server is said not to answer."""
CLOSE_LIMIT: Final = 1.0
"""s that closing may take before the stream is left behind."""
SWITCH_INTERVAL: Final = 0.0005
"""s after which a busy Python thread must let the callback in. With the usual 5 ms it waits up to 50 ms
for its turn (measured against a busy loop), with this under 1 ms."""
GAPS_EVERY: Final = 5.0
"""s between two events that tell of gaps in the sound."""
MOST_EVENTS: Final = 100
MISSING: Final = "PortAudio is missing"

T = TypeVar("T")


def _portaudio() -> Any:
    """The module sounddevice; raises DeviceError where it cannot work."""
    try:
        import sounddevice
    except OSError:
        raise DeviceError(
            f"{MISSING}, so nothing can be heard; install it (on Debian: apt install "
            "libportaudio2) and start again"
        ) from None
    except Exception as error:
        raise DeviceError(f"the sound system did not start ({error}); start it and wait") from error
    return sounddevice


class Engine:
    """A programme and the choices of a rig, live. All methods return at once, from any thread.

    Raises AudioFileError and DesignError when made, which takes a filter design (0.03 s) per choice.
    What happens later is told by `events`. `start` before a screen takes the terminal (see `QuietStderr`);
    `stop` at the end, which takes 4 s at most, whatever the sound server does. ``volumes`` is the file
    that remembers them; ``buffer`` the seconds of sound that a device is first asked to hold.
    """

    def __init__(
        self,
        source: Path,
        choices: Sequence[Choice],
        *,
        volumes: Path | None = None,
        buffer: float = BUFFER,
        journal: bool = False,
    ) -> None:
        self._source = source
        wishes = Wanted({choice.name: choice for choice in choices})
        entries: list[Entry] | None = [] if journal else None
        self._listening = Listening(source, probe(source).rate, wishes, self._tell, journal=entries)
        self._file_rate = self._listening.rate
        self._volumes = Volumes(volumes or state_path())
        self._events: deque[Event] = deque(maxlen=MOST_EVENTS)
        self._chosen: dict[str, float] = {}
        """Volumes in dB that were chosen since the start, by device."""
        self._quiet = QuietStderr()
        self._requests: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._keeper: threading.Thread | None = None
        self._closing = False
        self._device: Device | None = None
        self._devices: list[Device] = []
        self._state: State = "closed"
        self._wanted: str | None = None
        self._stream: Stream | None = None
        self._opening: Call[Any] | None = None
        self._left_behind: list[Call[None]] = []
        self._next_try = math.inf
        self._beats, self._beat_at = 0, 0.0
        self._underruns = self._underruns_told = 0
        self._underrun_at = -math.inf
        self._buffer = buffer
        self._told = ""
        self._interval = 0.0

    # ---- the device

    def start(self, device: str | None = None) -> None:
        """Play on a device, by its name or number; None: the default one."""
        if self._keeper is None:
            self._quiet.begin()
            self.settle()
            self._interval = sys.getswitchinterval()
            sys.setswitchinterval(min(self._interval, SWITCH_INTERVAL))
            self._keeper = threading.Thread(target=self._keep, name="device", daemon=True)
            self._keeper.start()
            atexit.register(self.stop)
        self._state = "opening"
        self._requests.put(lambda: self._open(device))

    def settle(self) -> None:
        """Look for garbage now, and never again among what is in memory; after a screen was built.

        A full collection holds the interpreter, and so the audio callback, for 60 to 130 ms once a
        screen is up (measured; a device holds 45 ms of sound), but for some ms after this.
        """
        gc.collect()
        gc.freeze()

    def next_device(self) -> None:
        """Play on the next of the devices."""
        self._requests.put(self._open_next)

    @property
    def devices(self) -> tuple[Device, ...]:
        """The devices there were when one was last opened."""
        return tuple(self._devices)

    def stop(self) -> None:
        """Fade out, let the device go and end all threads; the bench cannot be used again."""
        if self._closing:
            return
        self._closing = True
        if self._keeper is not None:
            self._requests.put(lambda: None)
            self._keeper.join(OPEN_LIMIT + CLOSE_LIMIT)
            self._let_portaudio_be()
            sys.setswitchinterval(self._interval)
            self._quiet.end()
            gc.unfreeze()
            atexit.unregister(self.stop)
        self._listening.close()
        self._listening.join(CLOSE_LIMIT)
        self._volumes.save()

    # ---- what is heard and how

    @property
    def choices(self) -> Mapping[str, Choice]:
        """The choices as they are heard."""
        return self._listening.wishes.choices

    def play(self) -> None:
        """Go on."""
        self._listening.transport.play()

    def pause(self) -> None:
        """Stay here."""
        self._listening.transport.pause()

    def seek(self, seconds: float) -> None:
        """Go to a place in the programme."""
        self._listening.transport.seek(round(seconds * self._listening.rate))

    def loop(self, region: tuple[float, float] | None) -> None:
        """Play from one second to another again and again, or (None) on; raises AudioFileError."""
        transport, rate = self._listening.transport, self._listening.rate
        if region is None:
            transport.unloop()
        else:
            transport.loop(round(region[0] * rate), round(region[1] * rate))

    def hear(self, heard: Heard) -> None:
        """Fade over to this."""
        self._listening.hear(heard)

    def load_slots(self, heard: Sequence[Heard], *, equal: bool = False) -> list[float]:
        """Freeze what these sound like now (``equal``: equally loud), for a blind trial; gains in dB."""
        return self._listening.load_slots(heard, equal=equal)

    def hear_slot(self, number: int) -> None:
        """Fade over to a slot; until `hear`, the status says nothing that could tell which."""
        self._listening.hear_slot(number)

    def set_match(self, match: Match) -> None:
        """As installed, by loudness, or by the level at a frequency in Hz."""
        self._listening.set_match(match)

    def set_makeup(self, makeup: float | None) -> None:
        """dB on the drops; None: chosen."""
        self._listening.set_makeup(makeup)

    def set_volume(self, volume: float) -> None:
        """dB, 0 at most; kept for the device."""
        self._listening.set_volume(volume)
        if self._device is not None:
            self._chosen[self._device.name] = self._listening.wishes.volume
            self._volumes.put(self._device.name, self._listening.wishes.volume)

    def update_choice(self, choice: Choice) -> None:
        """Hear this choice as edited as soon as its filter is designed."""
        self._listening.update_choice(choice)

    def status(self) -> Status:
        """How things are now."""
        listening, stream = self._listening, self._stream
        status = listening.status()
        return Status(
            **vars(status),
            state=self._state,
            device=self._device.name if self._device else None,
            rate=listening.rate,
            latency=stream.latency if stream else 0.0,
            underruns=self._underruns + (stream.underruns if stream else 0) + status.starved,
        )

    def events(self) -> list[Event]:
        """What happened since the last call."""
        found = []
        while self._events:
            found.append(self._events.popleft())
        return found

    @property
    def journal(self) -> tuple[Setup, list[Entry]]:
        """What `playback.replay` needs, if a journal was wished, since the last change of rate."""
        return self._listening.player.setup, self._listening.journal or []

    # ---- the thread that keeps the device

    def _tell(self, event: Event) -> None:
        self._events.append(event)

    def _say(self, kind: EventKind, text: str) -> None:
        """Tell what is the matter with the device, but not the same twice in a row."""
        if text != self._told:
            self._told = text
            self._tell(Event(kind, text))

    def _keep(self) -> None:
        while not self._closing:
            request = None
            with suppress(queue.Empty):
                request = self._requests.get(timeout=LOOK)
            try:
                if request is not None:
                    request()
                self._watch()
            except Exception as error:  # whatever it is, the keeper must go on keeping
                self._say("fault", f"the device cannot be kept ({error!r}); choose another one")
                self._next_try = time.monotonic() + AGAIN_AFTER
        self._release(gently=True)

    def _watch(self) -> None:
        now, stream = time.monotonic(), self._stream
        self._look_at_disk()
        if stream is None:
            if now >= self._next_try:
                self._try()
        elif stream.error is not None:
            self._lose(f"a fault in making sound ({stream.error!r})")
        elif stream.finished:
            self._lose(f"{stream.device.name} is gone")
        elif stream.beats != self._beats:
            self._beats, self._beat_at = stream.beats, now
            if self._state == "silent":
                self._state = "running"
                self._underruns_told = stream.underruns  # the gap has been told already
                self._say("device", f"{stream.device.name} takes sound again")
            self._look_at_underruns(stream)
        elif self._state == "running" and now - self._beat_at > SILENT_AFTER:
            self._state = "silent"
            self._say(
                "fault",
                f"{stream.device.name} has stopped taking sound; playing goes on when it takes it "
                "again, or choose another device",
            )
        self._volumes.save()

    def _look_at_underruns(self, stream: Stream) -> None:
        now, told = time.monotonic(), self._underruns_told
        if stream.underruns == told or now < self._underrun_at + GAPS_EVERY:
            return
        self._underruns_told, self._underrun_at = stream.underruns, now
        if 2.0 * self._buffer > MOST_BUFFER:
            text = "the sound had a gap: the machine is too busy; end what is not needed"
            self._tell(Event("underrun", text))
            return
        self._buffer *= 2.0
        text = (
            f"the sound had a gap; {1e3 * self._buffer:.0f} ms are kept ready from now on, so keys act "
            "that much later"
        )
        self._tell(Event("underrun", text))
        self._release()
        self._try()

    def _look_at_disk(self) -> None:
        fault = self._listening.transport.told_fault()
        if fault is not None:
            self._tell(Event("programme", fault))

    def _lose(self, reason: str) -> None:
        self._say("fault", f"{reason}; playing goes on when it is back, or choose another device")
        self._release()
        self._state = "lost"
        self._next_try = time.monotonic() + AGAIN_AFTER

    def _open(self, wanted: str | None) -> None:
        self._release(gently=True)
        self._wanted, self._told, self._state = wanted, "", "opening"
        self._try()

    def _open_next(self) -> None:
        names = [device.name for device in self._devices]
        if not names:
            self._open(None)
            return
        at = names.index(self._device.name) if self._device and self._device.name in names else -1
        self._open(names[(at + 1) % len(names)])

    def _try(self) -> None:
        """Open the wanted device, or say why it does not go and try again later."""
        self._next_try = time.monotonic() + AGAIN_AFTER
        if self._opening is not None and self._opening.running:
            return  # the last attempt has not even ended
        try:
            self._stream = self._opened_stream()
        except StuckError:
            self._fail("the sound server does not answer; start it again, or choose another device")
        except DeviceError as error:
            self._fail(str(error))
            if MISSING in str(error):
                self._next_try = math.inf
        except Exception as error:  # PortAudio's own has no class before PortAudio is there
            self._fail(f"the device does not open ({error}); choose another one")
        else:
            self._state, self._next_try = "running", math.inf
            self._beats, self._beat_at = -1, time.monotonic()
            self._underruns_told = 0
            self._say(
                "device", f"playing on {self._stream.device.name} at {self._listening.rate} Hz"
            )

    def _fail(self, text: str) -> None:
        self._state = "lost"
        self._say("fault", text)

    def _call(self, work: Callable[[], T], late: Callable[[T], None] | None = None) -> T:
        call = Call(work, late)
        self._opening = call
        return call.result(OPEN_LIMIT)

    def _opened_stream(self) -> Stream:
        loaded = "sounddevice" in sys.modules
        portaudio = self._call(_portaudio)
        if loaded and not any(call.running for call in self._left_behind):
            self._call(lambda: restart(portaudio))
        self._devices = self._call(lambda: output_devices(portaudio))
        device = chosen_device(self._devices, self._wanted)
        outputs = min(2, device.channels)
        if outputs < self._listening.channels:
            raise DeviceError(
                f"{device.name} has one channel and the programme two; choose another"
            )
        rate = self._call(lambda: playing_rate(portaudio, device, outputs, self._file_rate))
        if rate != self._listening.rate:
            self._listening = renewed(self._listening, rate, self._source)
        listening = self._listening
        self._device = device
        known = self._volumes.get(device.name)
        # Quiet at first, and never louder than was last chosen for this device.
        quiet = START_VOLUME if known is None else min(known, START_VOLUME)
        listening.set_volume(self._chosen.get(device.name, quiet))
        listening.soften()
        return self._call(
            lambda: Stream(
                portaudio,
                device,
                rate,
                listening.player.block,
                outputs,
                self._buffer,
                listening.render,
            ),
            lambda stream: stream.close(),
        )

    def _release(self, gently: bool = False) -> None:
        """Let go of the stream, with a fade if it plays; leave it behind if it does not end."""
        stream, self._stream = self._stream, None
        if stream is None:
            return
        if gently and self._state == "running":
            self._listening.player.post(Volume(amplitude(-math.inf)))
            time.sleep(stream.latency + 3 * self._listening.player.block / self._listening.rate)
        stream.mute()
        self._underruns += stream.underruns
        self._state = "closed"
        closing = Call(stream.close)
        try:
            closing.result(CLOSE_LIMIT)
        except StuckError:
            self._left_behind.append(closing)
        except Exception as error:  # the stream is gone anyway
            self._quiet.lines.append(str(error))

    def _let_portaudio_be(self) -> None:
        """Where a call is stuck, ending PortAudio at exit would be stuck as well."""
        stuck = [*self._left_behind, *([self._opening] if self._opening else [])]
        portaudio = sys.modules.get("sounddevice")
        if portaudio is not None and any(call.running for call in stuck):
            atexit.unregister(portaudio._exit_handler)


if TYPE_CHECKING:
    _: type[EngineLike] = Engine
