"""What surrounds the device: finding it, calls that hang, volumes that are remembered."""

import json
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from auralize.live.calls import Call, StuckError
from auralize.live.device import SOUNDDEVICE, Device, DeviceError, chosen_device, playing_rate
from auralize.live.remembered import Volumes, state_path
from support.pumped import until

DEVICES = [
    Device(0, "Wheel house", 2, 44_100, default=False),
    Device(3, "Mill pond, left bank", 8, 48_000, default=True),
]


def test_a_device_is_found_by_name_number_or_part():
    for wanted, index in ((None, 3), ("Wheel house", 0), ("3", 3), ("POND", 3)):
        assert chosen_device(DEVICES, wanted).index == index
    with pytest.raises(DeviceError, match="right is one of 0 Wheel house, 3 Mill pond"):
        chosen_device(DEVICES, "loft")
    with pytest.raises(DeviceError, match="there is no output device; connect one"):
        chosen_device([], None)


class _RefusedError(Exception):
    pass


def test_a_device_that_refuses_the_rate_gets_its_own(monkeypatch):
    def check_output_settings(index, channels, kind, samplerate):
        if samplerate != 48_000:
            raise _RefusedError

    portaudio = SimpleNamespace(
        check_output_settings=check_output_settings, PortAudioError=_RefusedError
    )
    monkeypatch.setitem(sys.modules, SOUNDDEVICE, portaudio)
    assert playing_rate(DEVICES[0], 2, 48_000) == 48_000
    assert playing_rate(DEVICES[1], 2, 96_000) == 48_000
    odd = replace(DEVICES[0], rate=384_000)
    with pytest.raises(DeviceError, match="plays at 384000 Hz"):
        playing_rate(odd, 2, 44_100)


def test_a_call_that_hangs_is_given_up_and_its_late_result_is_not_lost():
    gate, late = threading.Event(), []

    def work():
        gate.wait()
        return 7

    call = Call(work, late.append)
    with pytest.raises(StuckError):
        call.result(0.01)
    assert call.running
    gate.set()
    until(lambda: late == [7])
    with pytest.raises(ZeroDivisionError):
        Call(lambda: 1 // 0).result(5.0)
    assert Call(lambda: 3).result(5.0) == 3


def test_volumes_are_remembered_and_never_above_0_db(tmp_path):
    path = tmp_path / "deep" / "volumes.json"
    volumes = Volumes(path)
    assert volumes.first("Wheel house") == -20.0
    volumes.put("Wheel house", -31.5)
    volumes.save()
    assert Volumes(path).first("Wheel house") == -31.5
    path.write_text('{"a": 40, "b": -500, "c": "loud", "d": NaN, "e": true}')
    spoilt = Volumes(path)
    assert spoilt._known == {"a": 0.0, "b": -60.0}


def test_a_device_begins_quietly_unless_it_was_turned_up_in_this_session(tmp_path):
    path = tmp_path / "volumes.json"
    path.write_text('{"loud": -3, "soft": -42.5}')
    volumes = Volumes(path)
    assert [volumes.first(name) for name in ("loud", "soft", "new")] == [-20.0, -42.5, -20.0]
    volumes.put("loud", -6.0)
    volumes.put("soft", -10.0)
    assert [volumes.first(name) for name in ("loud", "soft", "new")] == [-6.0, -10.0, -20.0]
    volumes.save()
    again = Volumes(path)
    assert [again.first(name) for name in ("loud", "soft")] == [-20.0, -20.0]


@pytest.mark.parametrize("content", ["", "[1, 2]", '{"a":', "\x00\xff"])
def test_a_spoilt_file_of_volumes_means_a_quiet_start(tmp_path, content):
    path = tmp_path / "volumes.json"
    path.write_text(content)
    assert Volumes(path).first("a") == -20.0
    volumes = Volumes(tmp_path / "volumes.json" / "impossible")
    volumes.put("a", -10.0)
    volumes.save()  # cannot be written, and that is nobody's trouble


def test_volumes_lie_where_the_system_keeps_state(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert state_path() == tmp_path / "auralize" / "volumes.json"
    monkeypatch.setenv("XDG_STATE_HOME", "not/absolute")  # to be ignored, says the specification
    monkeypatch.setenv("HOME", str(tmp_path))
    assert state_path() == tmp_path / ".local" / "state" / "auralize" / "volumes.json"


HUSHED = """
import os, sys, time
from auralize.live.quiet_stderr import QuietStderr
hush = QuietStderr()
hush.begin()
os.write(2, b"a library is chatty\\n" * 5000)
print("python speaks", file=sys.stderr)
print("the screen is drawn", file=sys.__stderr__)
hush.end()
os.write(2, b"open again\\n")
for _ in range(500):
    if "a library is chatty" in hush.lines:
        break
    time.sleep(0.01)
print(len(hush.lines))
"""


def test_what_c_libraries_print_is_caught_and_nothing_else():
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", HUSHED], capture_output=True, text=True, check=True
    )
    assert done.stderr == "python speaks\nthe screen is drawn\nopen again\n"
    assert done.stdout == "50\n"


def test_volumes_are_written_as_json(tmp_path):
    volumes = Volumes(tmp_path / "v.json")
    volumes.put("Wheel house", -3.0)
    volumes.save()
    assert json.loads(Path(tmp_path / "v.json").read_text()) == {"Wheel house": -3.0}
