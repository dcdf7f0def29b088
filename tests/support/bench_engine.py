"""A stand-in for the live engine: keeps what it was told, makes no sound."""

from dataclasses import replace

from auralize.gains import INSTALLED, SOURCE, Gains
from auralize.live.status import Event, Status


class SilentEngine:
    """The methods of `auralize.live.engine.Engine` that the screens use."""

    def __init__(self, choices, status=None):
        self.choices = {choice.name: choice for choice in choices}
        self.calls = []
        self.told = []
        self._status = status or Status(
            position=12.5,
            length=24.0,
            playing=False,
            ended=False,
            loop=None,
            heard=SOURCE,
            slot=None,
            match=INSTALLED,
            gains=Gains(0.0, 0.0, -1.5),
            certainty="measured",
            filter_error=-110.0,
            volume=-20.0,
            peak_dbfs=-23.0,
            rms_dbfs=-35.0,
            limiting=False,
            editing=False,
            switches=0,
            starved=0,
            state="running",
            device="null sink",
            rate=48_000,
            latency=0.06,
            underruns=0,
        )

    def _set(self, **values):
        self._status = replace(self._status, **values)

    def status(self):
        return self._status

    def events(self):
        told, self.told = self.told, []
        return told

    def tell(self, text, kind="fault"):
        self.told.append(Event(kind, text))

    def play(self):
        self.calls.append("play")
        self._set(playing=True)

    def pause(self):
        self.calls.append("pause")
        self._set(playing=False)

    def seek(self, seconds):
        self.calls.append(("seek", seconds))
        self._set(position=seconds)

    def loop(self, region):
        self.calls.append(("loop", region))
        self._set(loop=region)

    def hear(self, heard):
        self.calls.append(("hear", heard))
        self._set(heard=heard, slot=None)

    def load_slots(self, heard, *, equal=False):
        self.calls.append(("load_slots", tuple(heard), equal))
        return [0.0 for _ in heard]

    def hear_slot(self, number):
        self.calls.append(("hear_slot", number))
        self._set(slot=number)

    def set_match(self, match):
        self.calls.append(("match", match))
        self._set(match=match)

    def set_makeup(self, makeup):
        self.calls.append(("makeup", makeup))

    def set_volume(self, volume):
        self.calls.append(("volume", volume))
        self._set(volume=min(0.0, volume))

    def update_choice(self, choice):
        self.calls.append(("update", choice.name))
        self.choices[choice.name] = choice

    def settle(self):
        self.calls.append("settle")

    def next_device(self):
        self.calls.append("next_device")
