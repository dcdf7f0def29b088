"""Devices and streams of an audio library that is handed in, and calls into it that may never return.

The library is the module sounddevice, which only `auralize.live.engine` loads.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from auralize.audio.reader import HIGHEST_RATE, LOWEST_RATE
from auralize.errors import AuralizeError
from auralize.live.player import Block

T = TypeVar("T")


class DeviceError(AuralizeError, OSError):
    """Nothing can be played on the device, and why."""


class StuckError(Exception):
    """A call did not return in time; it goes on in a thread of its own."""


class Call(Generic[T]):
    """One call in a daemon thread. If it is given up and ends later, ``late`` gets its result."""

    def __init__(self, work: Callable[[], T], late: Callable[[T], None] | None = None) -> None:
        self._work, self._late = work, late
        self._lock = threading.Lock()
        self._given_up = False
        self._result: list[T] = []
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name="device call", daemon=True)
        self._thread.start()

    @property
    def running(self) -> bool:
        return self._thread.is_alive()

    def result(self, seconds: float) -> T:
        """What came of it; raises what it raised, or StuckError."""
        self._thread.join(seconds)
        with self._lock:
            if self._error is not None:
                raise self._error
            if not self._result:
                self._given_up = True
                raise StuckError
            return self._result[0]

    def _run(self) -> None:
        try:
            result = self._work()
        except Exception as error:
            with self._lock:
                self._error = error
            return
        with self._lock:
            self._result.append(result)
            late = self._late if self._given_up else None
        if late is not None:
            late(result)


@dataclass(frozen=True)
class Device:
    """Something that can play."""

    index: int
    name: str
    channels: int
    rate: int
    """Hz, its own."""
    default: bool


def restart(portaudio: Any) -> None:
    """Look for devices anew, which PortAudio does only when it starts."""
    portaudio._terminate()
    portaudio._initialize()


def output_devices(portaudio: Any) -> list[Device]:
    default = portaudio.default.device[1]
    return [
        Device(
            index,
            str(found["name"]),
            int(found["max_output_channels"]),
            round(found["default_samplerate"]),
            index == default,
        )
        for index, found in enumerate(portaudio.query_devices())
        if found["max_output_channels"] > 0
    ]


def chosen_device(devices: Sequence[Device], wanted: str | None) -> Device:
    """The device of this name, number or part of a name; the default one for None."""
    if not devices:
        raise DeviceError(
            "there is no output device; connect one or start the sound server, it is then found"
        )
    if wanted is None:
        return next((d for d in devices if d.default), devices[0])
    for fits in (
        [d for d in devices if d.name == wanted],
        [d for d in devices if str(d.index) == wanted],
        [d for d in devices if wanted.lower() in d.name.lower()],
    ):
        if fits:
            return fits[0]
    names = ", ".join(f"{d.index} {d.name}" for d in devices)
    raise DeviceError(f"output device {wanted!r} is not there; right is one of {names}")


def playing_rate(portaudio: Any, device: Device, channels: int, wanted: int) -> int:
    """The rate of the programme if the device takes it, else the device's own."""
    try:
        portaudio.check_output_settings(device.index, channels, "float32", samplerate=wanted)
    except portaudio.PortAudioError:
        if LOWEST_RATE <= device.rate <= HIGHEST_RATE:
            return device.rate
        raise DeviceError(
            f"{device.name} plays at {device.rate} Hz; {LOWEST_RATE} to {HIGHEST_RATE} Hz are right"
        ) from None
    return wanted


class Stream:
    """A stream that plays. Once `mute`, it never calls for sound again, whatever becomes of it."""

    def __init__(
        self,
        portaudio: Any,
        device: Device,
        rate: int,
        block: int,
        channels: int,
        buffer: float,
        render: Callable[[Block], None],
    ) -> None:
        self.device = device
        self.beats = self.underruns = 0
        self.finished = False
        self.error: Exception | None = None
        self._render, self._muted = render, False
        self._stream = portaudio.OutputStream(
            samplerate=rate,
            blocksize=block,
            device=device.index,
            channels=channels,
            dtype="float32",
            latency=buffer,
            callback=self._callback,
            finished_callback=self._finish,
        )
        self.latency = float(self._stream.latency)
        try:
            self._stream.start()
        except BaseException:
            self._stream.close()
            raise

    def mute(self) -> None:
        """Give silence from now on."""
        self._muted = True

    def close(self) -> None:
        """End the stream; may block for good."""
        self.mute()
        self._stream.abort()
        self._stream.close()

    def _callback(self, out: Block, _frames: int, _time: Any, status: Any) -> None:
        if status:
            self.underruns += bool(status.output_underflow)
        if self._muted:
            out.fill(0.0)
            return
        try:
            self._render(out)
        except Exception as error:  # would end the stream without a word
            out.fill(0.0)
            self.error, self._muted = error, True
        self.beats += 1

    def _finish(self) -> None:
        self.finished = True
