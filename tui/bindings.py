"""The keys of the bench and of a trial. Help, palette and key line read them from here."""

from __future__ import annotations

from typing import Final

from textual.binding import Binding, BindingType


def _quiet(key: str, action: str, description: str, tooltip: str, name: str) -> Binding:
    """A key that help and palette name, but not the key line."""
    return Binding(key, action, description, show=False, tooltip=tooltip, id=name)


PLAYING: Final[list[BindingType]] = [
    Binding("space", "play", "Play", tooltip="Play or pause", id="bench.play"),
    _quiet("left", "seek(-1)", "Back", "Back 5 s", "bench.back"),
    _quiet("right", "seek(1)", "On", "On 5 s", "bench.on"),
    _quiet("up", "volume(1)", "Louder", "1 dB louder", "bench.up"),
    _quiet("down", "volume(-1)", "Softer", "1 dB softer", "bench.down"),
    _quiet("l", "loop", "Loop", "Loop: start, then end, then off", "bench.loop"),
    _quiet("comma", "nudge(-1)", "Back", "Back 0.1 s", "bench.nudge_back"),
    _quiet("full_stop", "nudge(1)", "On", "On 0.1 s", "bench.nudge_on"),
    _quiet("t", "places", "Go to", "Go to a time or marker, mark, loop", "bench.places"),
    _quiet("o", "device", "Output", "Next output device", "bench.device"),
    _quiet("n", "programme", "Next sound", "Next programme or test signal", "bench.programme"),
]

HEARING: Final[list[BindingType]] = [
    _quiet("1", "choose(1)", "Choice 1", "Hear choice 1 (2 to 9: the others)", "bench.choice1"),
    *(_quiet(str(n), f"choose({n})", f"Choice {n}", "", f"bench.choice{n}") for n in range(2, 10)),
    Binding("s", "hear(None)", "Source", tooltip="Hear the source", id="bench.source"),
    Binding(
        "r", "hear('receiving')", "Receiving", tooltip="Hear the receiving end", id="bench.rec"
    ),
    Binding("d", "hear('drop')", "Drop", tooltip="Hear the drop", id="bench.drop"),
    _quiet(
        "c", "across", "Across", "Drop over both conductors, over plus, over minus", "bench.across"
    ),
    Binding("m", "match", "Match", tooltip="Next way of matching levels", id="bench.match"),
    _quiet(
        "g", "drops", "Equal", "Drops equally loud, or at one make-up gain (chosen)", "bench.drops"
    ),
    _quiet("plus", "makeup(1)", "More", "Make-up gain of all drops 1 dB more", "bench.more"),
    _quiet("minus", "makeup(-1)", "Less", "Make-up gain of all drops 1 dB less", "bench.less"),
]

WORKING: Final[list[BindingType]] = [
    Binding("e", "edit", "Edit", tooltip="Edit the run of the chosen choice", id="bench.edit"),
    _quiet("u", "undo", "Undo", "Take the last edit back", "bench.undo"),
    _quiet("y", "presets", "Presets", "Usual lays and sizes of the run", "bench.presets"),
    _quiet("x", "render", "Files", "Render what is compared to files", "bench.render"),
    _quiet("W", "keep", "Keep", "Keep what is set here beside the rig, or not", "bench.keep"),
    _quiet("w", "write", "Write", "Write the rig file", "bench.write"),
    Binding("b", "blind", "Blind", tooltip="Set up a blind trial", id="bench.blind"),
]

VIEWING: Final[list[BindingType]] = [
    _quiet(
        "v",
        "curves",
        "View",
        "Curves: of what is heard, loss, drop, over the pinned choice",
        "bench.curves",
    ),
    _quiet("z", "zoom", "Zoom", "Curves: two octaves round the cursor, or all", "bench.zoom"),
    _quiet("less_than_sign", "cursor(-1)", "Lower", "Curves: cursor lower", "bench.lower"),
    _quiet("greater_than_sign", "cursor(1)", "Higher", "Curves: cursor higher", "bench.higher"),
    _quiet(
        "a",
        "analyser",
        "Analyser",
        "What sounds now over frequency: third octaves, fine line, curves again",
        "bench.analyser",
    ),
    _quiet(
        "f", "averaging", "Averaging", "Fast, slow; both relative to the source", "bench.averaging"
    ),
    _quiet("h", "hold", "Hold", "Hold the highest levels, or no more", "bench.hold"),
    _quiet(
        "k", "freeze", "Freeze", "Keep this picture under the next ones; let it go", "bench.freeze"
    ),
    _quiet("i", "card", "Info", "What the chosen choice is, its cautions, all news", "bench.card"),
    _quiet("pageup", "step(-1)", "Previous", "Hear the choice before", "bench.previous"),
    _quiet("pagedown", "step(1)", "Next", "Hear the choice after", "bench.next"),
    _quiet("slash", "find", "Find", "Find a choice by its name", "bench.find"),
    _quiet("p", "pin", "Pin", "Pin the chosen choice, or let it go; two at most", "bench.pin"),
    _quiet("tab", "other", "Other", "Hear the other of the pinned choices", "bench.other"),
    _quiet("enter,escape", "seen", "Seen", "Take away news that wait", "bench.seen"),
]

_LISTEN_TO: Final = "Listen to what the screen lists (2, 3: the others)"

TRIAL: Final[list[BindingType]] = [
    Binding("escape", "give_up", show=False),
    _quiet("1", "listen(0)", "Listen to 1", _LISTEN_TO, "trial.listen1"),
    _quiet("2", "listen(1)", "Listen to 2", "", "trial.listen2"),
    _quiet("3", "listen(2)", "Listen to 3", "", "trial.listen3"),
    Binding(
        "down",
        "pick(1)",
        "Answer",
        key_display="up/down",
        tooltip="Pick an answer",
        id="trial.down",
    ),
    _quiet("up", "pick(-1)", "Answer", "", "trial.up"),
    Binding(
        "enter", "confirm", "Confirm", tooltip="Give the answer that is picked", id="trial.confirm"
    ),
    Binding("space", "pause", "Pause", tooltip="Stop the sound", id="trial.pause"),
    Binding(
        "plus", "volume(1)", "Louder", key_display="+", tooltip="1 dB louder", id="trial.louder"
    ),
    Binding(
        "minus", "volume(-1)", "Softer", key_display="-", tooltip="1 dB softer", id="trial.softer"
    ),
    _quiet("left", "seek(-1)", "Back", "Back 5 s", "trial.back"),
    _quiet("right", "seek(1)", "On", "On 5 s", "trial.on"),
    _quiet("l", "loop", "Loop", "Loop: start, then end, then off", "trial.loop"),
    Binding("q", "give_up", "Give up", tooltip="End the session here (twice)", id="trial.give_up"),
]
