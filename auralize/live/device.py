"""Audio devices, and the only module that talks to PortAudio: it alone loads sounddevice, when first needed.

Any of these functions may raise DeviceError or what PortAudio raises, and may never return.
"""

from __future__ import annotations

import atexit
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, Protocol

from auralize.audio.bands import HIGHEST_RATE, LOWEST_RATE
from auralize.errors import AuralizeError
from auralize.live.player import Block

SOUNDDEVICE: Final = "sounddevice"
Way = Literal["output", "input"]
Put = Callable[[Block], None]
"""Takes a block that has come in; it is valid until it returns."""


class DeviceError(AuralizeError, OSError):
    """Nothing can be played on the device, and why."""


class MissingError(DeviceError):
    """Nothing can be played on any device, now or later."""


@dataclass(frozen=True)
class Form:
    """How a device is asked to play."""

    rate: int
    """Hz"""
    block: int
    """Frames"""
    channels: int
    buffer: float
    """s of sound that it is asked to hold."""


class Opened(Protocol):
    """A stream that PortAudio has opened."""

    @property
    def latency(self) -> float:
        """s between a block's making and its sound, or between sound and its block."""

    def start(self) -> object:
        """Begin to call for blocks."""

    def abort(self) -> object:
        """Stop at once."""

    def close(self) -> object:
        """Let go of the device."""


@dataclass(frozen=True)
class Device:
    """Something that can play, or give sound."""

    index: int
    name: str
    channels: int
    rate: int
    """Hz, its own."""
    default: bool


def output_devices(anew: bool) -> list[Device]:
    """The devices there are: now (``anew``, only while no stream is open), or when last looked for."""
    loaded = SOUNDDEVICE in sys.modules
    portaudio = _portaudio()
    if anew and loaded:
        # PortAudio looks for devices only when it starts, and these have no public name.
        portaudio._terminate()
        portaudio._initialize()
    return _devices("output")


def input_devices() -> list[Device]:
    """The devices there were when `output_devices` last looked, that give sound."""
    return _devices("input")


def _devices(way: Way) -> list[Device]:
    portaudio = _portaudio()
    default, most = portaudio.default.device[way == "output"], f"max_{way}_channels"
    return [
        Device(
            index,
            str(found["name"]),
            int(found[most]),
            round(found["default_samplerate"]),
            index == default,
        )
        for index, found in enumerate(portaudio.query_devices())
        if found[most] > 0
    ]


def chosen_device(devices: Sequence[Device], wanted: str | None, way: Way = "output") -> Device:
    """The device of this name, number or part of a name; the default one for None."""
    if not devices:
        raise DeviceError(
            f"there is no {way} device; connect one or start the sound server, it is then found"
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
    raise DeviceError(f"{way} device {wanted!r} is not there; right is one of {names}")


def playing_rate(device: Device, channels: int, wanted: int) -> int:
    """The rate of the programme if the device takes it, else the device's own."""
    portaudio = _portaudio()
    try:
        portaudio.check_output_settings(device.index, channels, "float32", samplerate=wanted)
    except portaudio.PortAudioError:
        if LOWEST_RATE <= device.rate <= HIGHEST_RATE:
            return device.rate
        raise DeviceError(
            f"{device.name} plays at {device.rate} Hz; {LOWEST_RATE} to {HIGHEST_RATE} Hz are right"
        ) from None
    return wanted


def open_output(
    device: Device,
    form: Form,
    fill: Callable[[Block, bool], None],
    finished: Callable[[], None],
) -> Opened:
    """A stream that calls ``fill`` for each block once it is started, and ``finished`` when it has ended.

    ``fill`` gets the block, and whether the device has gone without sound since the last one.
    """

    def callback(out: Block, _frames: int, _time: Any, status: Any) -> None:
        fill(out, bool(status.output_underflow))

    output: Opened = _portaudio().OutputStream(
        samplerate=form.rate,
        blocksize=form.block,
        device=device.index,
        channels=form.channels,
        dtype="float32",
        latency=form.buffer,
        callback=callback,
        finished_callback=finished,
    )
    return output


def shared_rate(source: Device, output: Device, channels: int, wanted: int) -> int:
    """The rate ``wanted`` if input and output take it, else the input's own; raises DeviceError."""
    portaudio = _portaudio()
    for rate in (wanted, source.rate):
        try:
            portaudio.check_input_settings(source.index, None, "float32", samplerate=rate)
            portaudio.check_output_settings(output.index, channels, "float32", samplerate=rate)
        except portaudio.PortAudioError:
            continue
        return rate
    raise DeviceError(
        f"{source.name} and {output.name} share no sample rate: neither {wanted} Hz nor "
        f"{source.rate} Hz goes for both; set both to one rate, or choose another"
    )


def open_input(source: Device, form: Form, put: Put, finished: Callable[[], None]) -> Opened:
    """A stream that gives each block that has come in, once it is started."""

    def callback(came: Block, _frames: int, _time: Any, _status: Any) -> None:
        put(came)

    opened: Opened = _portaudio().InputStream(
        samplerate=form.rate,
        blocksize=form.block,
        device=source.index,
        channels=form.channels,
        dtype="float32",
        latency=form.buffer,
        callback=callback,
        finished_callback=finished,
    )
    return opened


def leave_open() -> None:
    """Do not end PortAudio at exit: where a call into it is stuck, that would be stuck as well."""
    portaudio = sys.modules.get(SOUNDDEVICE)
    if portaudio is not None:
        atexit.unregister(portaudio._exit_handler)  # has no public name


def _portaudio() -> Any:
    """The module sounddevice, which starts PortAudio; raises DeviceError where it cannot."""
    try:
        import sounddevice
    except OSError:
        raise MissingError(
            "PortAudio is missing, so nothing can be heard; install it (on Debian: apt install "
            "libportaudio2) and start again"
        ) from None
    except Exception as error:
        raise DeviceError(f"the sound system did not start ({error}); start it and wait") from error
    return sounddevice
