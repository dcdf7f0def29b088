"""The audio device: opened, watched, lost and found again, by a thread of its own.

What a sound server does when it goes wrong (measured, PortAudio 19.6 on ALSA): killed, the stream ends
without an error; frozen or suspended, the callbacks just stop, and every call into PortAudio may block for
good. So such calls are made in threads that can be left behind, and whether there is sound is seen from the
callback alone.
"""

from __future__ import annotations

import math
import queue
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Final

from auralize.live.calls import StuckError
from auralize.live.device import Device, DeviceError, MissingError
from auralize.live.input_side import InputSide
from auralize.live.opening import CLOSE_LIMIT, OPEN_LIMIT, Opener
from auralize.live.played import Played
from auralize.live.status import Event, EventKind, State
from auralize.live.stream import Stream

BUFFER: Final = 0.045
"""s of sound that a device is first asked to hold; doubled when it had a gap."""
MOST_BUFFER: Final = 0.2
"""s"""
SILENT_AFTER: Final = 0.7
"""s without a callback after which the device is said to be silent."""
DEVICE_LOOK: Final = 0.1
"""s between two looks at the device."""
AGAIN_AFTER: Final = 1.0
"""s between two attempts to open a device."""
GAPS_EVERY: Final = 5.0
"""s between two events that tell of gaps in the sound."""
FADE_BLOCKS: Final = 3
"""Blocks that are waited for until a fade is over, beside the latency: one fades, two may lie ready."""


class Keeper:
    """Keeps a device playing. All methods return at once, but for `close`; ``tell`` is for its thread."""

    def __init__(self, played: Played, tell: Callable[[Event], None], buffer: float) -> None:
        self.state: State = "closed"
        self._played, self._tell, self._buffer = played, tell, buffer
        self._opener = Opener(played)
        self._requests: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._closing = False
        self._wanted: str | None = None
        self._stream: Stream | None = None
        self._next_try = math.inf
        self._beats, self._beat_at = 0, 0.0
        self._underruns = self._underruns_told = 0
        self._underrun_at = -math.inf
        self._told = ""
        self._thread = threading.Thread(target=self._keep, name="device", daemon=True)

    @property
    def device(self) -> Device | None:
        """The one that was opened, or tried, last."""
        return self._opener.device

    @property
    def devices(self) -> tuple[Device, ...]:
        """Those there were when one was last opened."""
        return tuple(self._opener.devices)

    @property
    def latency(self) -> float:
        """s between a block's making and its sound, as the device says."""
        stream = self._stream
        return stream.latency if stream else 0.0

    @property
    def underruns(self) -> int:
        """Times that the device went without sound where there was some."""
        stream = self._stream
        return self._underruns + (stream.underruns if stream else 0)

    @property
    def input(self) -> InputSide | None:
        """What comes in, where that is played."""
        return self._opener.input

    def start(self) -> None:
        """Begin to keep, before anything is opened."""
        self._thread.start()

    def open(self, wanted: str | None) -> None:
        """Play on a device, by its name or number; None: the default one."""
        self.state = "opening"
        self._requests.put(lambda: self._open(wanted))

    def open_next(self) -> None:
        """Play on the next of the devices."""
        self._requests.put(self._open_next)

    def change(self, number: int) -> None:
        """Play another of the programmes, between two looks at the device."""
        self._requests.put(lambda: self._played.change(number))

    def close(self) -> None:
        """Fade out and let the device go; takes `OPEN_LIMIT` and `CLOSE_LIMIT` at most."""
        self._closing = True
        self._requests.put(lambda: None)
        self._thread.join(OPEN_LIMIT + CLOSE_LIMIT)
        self._opener.leave()

    # ---- its thread: watching

    def _keep(self) -> None:
        while not self._closing:
            request = None
            with suppress(queue.Empty):
                request = self._requests.get(timeout=DEVICE_LOOK)
            try:
                if request is not None:
                    request()
                self._played.look()
                self._watch()
                self._watch_input()
            except Exception as error:  # whatever it is, the keeper must go on keeping
                self._say("fault", f"the device cannot be kept ({error!r}); choose another one")
                self._next_try = time.monotonic() + AGAIN_AFTER
        self._release(gently=True)

    def _say(self, kind: EventKind, text: str) -> None:
        """Tell what is the matter with the device, but not the same twice in a row."""
        if text != self._told:
            self._told = text
            self._tell(Event(kind, text))

    def _watch(self) -> None:
        now, stream = time.monotonic(), self._stream
        if stream is None:
            if now >= self._next_try:
                self._try()
        elif stream.error is not None:
            self._lose(f"a fault in making sound ({stream.error!r})")
        elif stream.finished:
            self._lose(f"{stream.device.name} is gone")
        elif stream.beats != self._beats:
            self._beats, self._beat_at = stream.beats, now
            if self.state == "silent":
                self.state = "running"
                self._underruns_told = stream.underruns  # the gap has been told already
                self._say("device", f"{stream.device.name} takes sound again")
            self._look_at_underruns(stream)
        elif self.state == "running" and now - self._beat_at > SILENT_AFTER:
            self.state = "silent"
            self._say(
                "fault",
                f"{stream.device.name} has stopped taking sound; playing goes on when it takes it "
                "again, or choose another device",
            )

    def _watch_input(self) -> None:
        """What comes in, where that is played: told of when it is lost, and opened again."""
        side = self.input
        if side is not None and side.watch(self._stream, self._tell):
            self._release(gently=True)
            self._try()

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

    def _lose(self, reason: str) -> None:
        self._say("fault", f"{reason}; playing goes on when it is back, or choose another device")
        self._release()
        self.state = "lost"
        self._next_try = time.monotonic() + AGAIN_AFTER

    # ---- opening and closing

    def _open(self, wanted: str | None) -> None:
        self._release(gently=True)
        self._wanted, self._told, self.state = wanted, "", "opening"
        self._try()

    def _open_next(self) -> None:
        names = [device.name for device in self.devices]
        if not names:
            self._open(None)
            return
        name = self.device.name if self.device else None
        at = names.index(name) if name in names else -1
        self._open(names[(at + 1) % len(names)])

    def _try(self) -> None:
        """Open the wanted device, or say why it does not go and try again later."""
        self._next_try = time.monotonic() + AGAIN_AFTER
        if self._opener.busy:
            return  # the last attempt has not even ended
        try:
            self._stream = stream = self._opener.open(self._wanted, self._buffer)
        except StuckError:
            self._fail("the sound server does not answer; start it again, or choose another device")
        except DeviceError as error:
            self._fail(str(error))
            if isinstance(error, MissingError):
                self._next_try = math.inf
        except Exception as error:  # PortAudio's own has no class before PortAudio is there
            self._fail(f"the device does not open ({error}); choose another one")
        else:
            self.state, self._next_try = "running", math.inf
            self._beats, self._beat_at = -1, time.monotonic()
            self._underruns_told = 0
            self._say("device", f"playing on {stream.device.name} at {stream.form.rate} Hz")

    def _fail(self, text: str) -> None:
        self.state = "lost"
        self._say("fault", text)

    def _release(self, gently: bool = False) -> None:
        """Let go of the stream, with a fade if it plays; leave it behind if it does not end."""
        stream, self._stream = self._stream, None
        if stream is None:
            return
        if gently and self.state == "running":
            self._played.listening.hush()
            time.sleep(stream.latency + FADE_BLOCKS * stream.form.block / stream.form.rate)
        self._underruns += stream.underruns
        self.state = "closed"
        self._opener.close(stream)
