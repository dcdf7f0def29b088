"""No command that writes replaces what it did not make itself, and calls that differ never meet."""

from __future__ import annotations

import itertools
import json
import random
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile as sf
from auralize_demo import demo
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from auralize.figures import plot
from auralize.handover import handover
from auralize.outputs import check_ours, is_result, marked
from auralize.rig.editing import RigDraft
from support.command import OK, RATE, RIG, Bench, Tell, output, refusal, tone
from support.evening import evening

INTO = ("--into", "results")
THIN = ("--choice", "thin")
FILTER = ("filter", "sluice.toml", *THIN, "--rate", "8 kHz", *INTO)
RENDER = ("render", "sluice.toml", "bells.wav", *INTO)
COMMANDS = {
    "render": RENDER,
    "render flac": (*RENDER, *THIN, "--flac", "--signals", "receiving,source"),
    "filter wav": FILTER,
    "filter txt": (*FILTER, "--as", "txt"),
    "filter json": (*FILTER, "--as", "json"),
    "filter dsp": (*FILTER, "--as", "dsp"),
    "plot png": ("plot", "sluice.toml", *INTO),
    "plot svg": ("plot", "sluice.toml", *INTO, "--as", "svg"),
    "plot pdf": ("plot", "sluice.toml", *INTO, "--as", "pdf"),
    "sweep": ("sweep", "sluice.toml", *INTO, "--steps", "runs.path.length = 50 m, 100 m"),
    "demo": ("demo", "results"),
    "handover": ("handover", "sluice.toml", "bells.wav", *INTO, *THIN),
}
"""All that write files under names that they choose."""


@pytest.fixture(autouse=True)
def short_demo(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo, "RATE", RATE)
    monkeypatch.setattr(demo, "synthesise", lambda rate: evening()[: RATE // 8])


@pytest.fixture(autouse=True)
def bare_page(monkeypatch: pytest.MonkeyPatch) -> None:
    """A page without its words and curves, which are of no matter here."""
    monkeypatch.setattr(handover, "page_text", lambda data, *_: json.dumps(data))


@pytest.fixture(autouse=True)
def one_panel(monkeypatch: pytest.MonkeyPatch) -> None:
    """A picture of one panel: four take three times as long to lay out."""
    every = plot.panels
    monkeypatch.setattr(plot, "panels", lambda *of: every(*of)[:1])


def held(bench: Bench) -> dict[str, bytes]:
    return {
        path.relative_to(bench.results).as_posix(): path.read_bytes()
        for path in bench.results.rglob("*")
        if path.is_file()
    }


def changed(content: bytes) -> bytes:
    """As by somebody who wrote a little more, or less, in the middle."""
    middle = len(content) // 2
    return content[:middle] + bytes([content[middle] ^ 1]) + content[middle + 1 :]


FOREIGN: dict[str, Callable[[bytes], bytes]] = {
    "somebody else's": lambda content: b"a recording of the mill wheel",
    "empty": lambda content: b"",
    "ours, but changed": changed,
    "ours, but longer": lambda content: content + b"\n",
    "ours, but cut short": lambda content: content[:-1],
}


@pytest.mark.parametrize("command", COMMANDS.values(), ids=COMMANDS)
def test_no_command_replaces_a_file_that_it_did_not_leave_so(
    bench: Bench, tell: Tell, command: tuple[str, ...]
) -> None:
    """Files that a command writes stand for those of somebody else, each in a way of its own: nothing
    changes. Then `--replace` does what it says, and the same call may come again."""
    assert tell(*command).returncode == OK
    made = held(bench)
    assert tell(*command).returncode == OK  # its own
    names = random.Random(command[0]).sample(sorted(made), min(len(made), 4))
    for name, spoil in zip(itertools.cycle(names), FOREIGN.values(), strict=False):
        (bench.results / name).write_bytes(spoil(made[name]))
        before = held(bench)
        said = refusal(tell(*command))
        assert "--replace" in said
        assert name.removesuffix(".json") in said
        assert held(bench) == before
        (bench.results / name).write_bytes(made[name])
    (bench.results / name).write_bytes(b"mine")
    assert tell(*command, "--replace").returncode == OK
    assert set(held(bench)) == set(made)
    assert tell(*command).returncode == OK


@pytest.mark.parametrize("name", ["render", "filter json", "plot svg", "demo"])
def test_what_a_name_leads_to_stays(bench: Bench, tell: Tell, name: str) -> None:
    """By a link to a file, and by a link to nothing."""
    command = COMMANDS[name]
    assert tell(*command).returncode == OK
    mine = bench.folder / "mine.wav"
    mine.write_bytes(b"a recording")
    name = random.Random(command[0]).choice(sorted(held(bench)))
    for goal in (mine, bench.folder / "nothing"):
        (bench.results / name).unlink()
        (bench.results / name).symlink_to(goal)
        for more in ((), ("--replace",)):
            refusal(tell(*command, *more))
            assert mine.read_bytes() == b"a recording"
            assert not (bench.folder / "nothing").exists()


@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    content=st.binary(max_size=200),
    suffix=st.sampled_from([".txt", ".toml", ".svg", ".pdf", ".dsp", ".json", ".png"]),
    call=st.text("0123456789abcdef", min_size=16, max_size=16),
    at=st.integers(0),
    bit=st.integers(0, 7),
)
def test_a_mark_holds_for_the_content_and_the_call_alone(
    tmp_path: Path, content: bytes, suffix: str, call: str, at: int, bit: int
) -> None:
    path = tmp_path / f"result{suffix}"
    whole = marked(content + b"\n}\n" + bytes(12), suffix, call)
    path.write_bytes(whole)
    check_ours(path, call, replace=False)
    spoilt = bytearray(whole)
    spoilt[at % len(whole)] ^= 1 << bit
    for there, asked in ((bytes(spoilt), call), (whole, call[::-1] + "0"), (content, call)):
        path.write_bytes(there)
        with pytest.raises(OSError, match="--replace"):
            check_ours(path, asked, replace=False)


OPTIONS: dict[str, tuple[str, ...]] = {
    "nothing": (),
    "loudness": ("--match", "loudness"),
    "100 Hz": ("--match", "100 Hz"),
    "100.5 Hz": ("--match", "100.5 Hz"),
    "make-up of 6": ("--make-up", "6"),
    "make-up of 6.5": ("--make-up", "6.5"),
    "equal make-up": ("--make-up", "equal"),
    "sixteen": ("--depth", "16"),
    "floats": ("--depth", "float"),
    "tail": ("--tail", "0.25"),
    "tail twice as long": ("--tail", "0.5"),
    "plus": ("--across", "plus"),
    "minus": ("--across", "minus"),
    "from": ("--from", "0.1"),
    "for": ("--for", "0.1"),
    "from and for": ("--from", "0.1", "--for", "0.1"),
    "mono": ("--mono",),
    "FLAC": ("--flac",),
    "another loudspeaker": ("--load", "shed"),
    "mono and make-up": ("--mono", "--make-up", "6"),
}
TWO = (
    RIG.replace('construction = "measured"\nresistance = "10 ohm/km"\ninductance = "1 nH/m"', "", 1)
    .replace(
        "[cables.thin]",
        '[cables.thin]\nconstruction = "twin"\nconductor = "1 mm2"\ninsulation = "1 mm"',
    )
    .replace('construction = "measured"\nresistance = "2.5 ohm/km"\ninductance = "1 nH/m"', "", 1)
    .replace(
        "[cables.thick]",
        '[cables.thick]\nconstruction = "twin"\nconductor = "4 mm2"\ninsulation = "1 mm"',
    )
    .replace(
        "[choices.thin]", '[loads.shed]\ntype = "resistor"\nresistance = "4 ohm"\n\n[choices.thin]'
    )
    .replace("[amplifier]", 'listen = "sluice"\n\n[amplifier]')
)
"""Two loudspeakers, and conductors of which each is known."""


def test_results_of_calls_that_differ_have_other_names(bench: Bench, tell: Tell) -> None:
    bench.rig.write_text(TWO, encoding="utf-8")
    every: set[str] = set()
    for options in OPTIONS.values():
        output(tell(*RENDER, *THIN, "--signals", "receiving,drop,source", *options))
        now = set(held(bench))
        # A source, for one, is the same at any loudspeaker; it is still of another set of gains.
        assert len(now - every) == 6, options
        every = now
    filters = [
        (*FILTER, "--as", kind, *more)
        for kind in ("wav", "txt")
        for more in (
            (),
            ("--signal", "drop"),
            ("--signal", "drop", "--across", "plus"),
            ("--signal", "drop", "--across", "minus"),
            ("--signal", "sending"),
            ("--load", "shed"),
            ("--minimum-phase",),
            ("--rate", "8001"),
            ("--choice", "thick"),
        )
    ]
    plots = [
        ("plot", "sluice.toml", *INTO, "--as", "svg", *more)
        for more in ((), THIN, ("--load", "shed"), ("--every-load",), ("--across", "plus"))
    ]
    plugins = [
        (*FILTER, "--as", "dsp", *more)
        for more in (
            (),
            ("--across", "plus"),
            ("--load", "shed"),
            ("--rate", "8001"),
            ("--choice", "thick"),
        )
    ]
    for command in (*filters[:8], *filters[9:17], *plots, *plugins):
        before = len(every)
        output(tell(*command))
        every = set(held(bench))
        assert len(every) - before == (2 if command[0] == "filter" and "wav" in command else 1)


CHANGES = {
    "the rig": lambda bench: bench.rig.write_text(RIG.replace("10 ohm/km", "11 ohm/km")),
    "the source": lambda bench: sf.write(bench.programme, 0.5 * tone(), RATE, "PCM_24"),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_what_was_made_of_something_else_is_not_replaced(
    bench: Bench, tell: Tell, change: Callable[[Bench], object]
) -> None:
    output(tell(*RENDER))
    before = held(bench)
    change(bench)
    assert "made from another rig, from another source" in refusal(tell(*RENDER))
    assert held(bench) == before
    output(tell(*RENDER, "--replace"))
    assert held(bench) != before


def test_gains_that_go_by_what_is_compared_do_not_mix(bench: Bench, tell: Tell) -> None:
    """One make-up and one headroom are for all choices of a call: alone, a choice may have others."""
    output(tell(*RENDER))
    assert "with other options" in refusal(tell(*RENDER, *THIN))


def test_words_in_a_rig_file_make_no_other_rig(bench: Bench, tell: Tell) -> None:
    output(tell(*RENDER))
    bench.rig.write_text(RIG.replace("what is there", "the old one") + "# a comment\n")
    output(tell(*RENDER))


def test_a_measurement_is_part_of_the_rig(bench: Bench, tell: Tell) -> None:
    load = 'type = "measured"\nfile = "sluice.txt"\nnominal = "8 ohm"'
    rig = RIG.replace('type = "resistor"\nresistance = "8 ohm"', load)
    bench.rig.write_text(rig)
    rows = "\n".join(f"{f} 8 0" for f in (10, 20, 100, 1000, 10_000, 20_000, 30_000))
    (bench.folder / "sluice.txt").write_text(f"# Hz ohm degrees\n{rows}\n")
    filters = (*FILTER, "--as", "txt")
    output(tell(*filters))
    (bench.folder / "sluice.txt").write_text(f"# Hz ohm degrees\n{rows.replace(' 8 ', ' 7.5 ')}\n")
    assert "from another rig" in refusal(tell(*filters))


def test_results_tell_what_made_them(
    bench: Bench, tell: Tell, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Version, day and rig, in the comment and beside; the day as reproducible-builds.org has it."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    output(tell(*RENDER, *THIN, "--tail", "0.25"))
    name = "bells.thin.receiving.tail-0.25s.wav"
    told = json.loads((bench.results / f"{name}.json").read_text(encoding="utf-8"))
    comment = sf.SoundFile(bench.results / name).comment
    assert comment.endswith(f"; tail 0.25 s; auralize 0.1.0, 1970-01-02, rig {told['rig']}")
    assert (told["made_by"], told["load"]) == ("auralize 0.1.0, 1970-01-02", "sluice")
    assert told["tail_s"] == 0.25
    assert is_result(bench.results / name)
    assert not is_result(bench.programme)


def test_a_moved_pair_is_still_known(bench: Bench, tell: Tell) -> None:
    """A mark says nothing of the folder."""
    output(tell(*RENDER))
    shutil.move(bench.results, bench.folder / "elsewhere")
    output(tell(*RENDER[:-1], "elsewhere"))


# --- the bench ------------------------------------------------------------------------------------


def test_a_rig_file_that_was_changed_elsewhere_is_not_written_over(bench: Bench) -> None:
    draft = RigDraft(bench.rig)
    draft.change("thin", ["runs", "path", "length"], "90 m")
    theirs = bench.rig.read_text(encoding="utf-8") + "# checked on site\n"
    bench.rig.write_text(theirs, encoding="utf-8")
    with pytest.raises(ValueError, match="changed elsewhere since it was opened"):
        draft.save()
    assert bench.rig.read_text(encoding="utf-8") == theirs
    draft.close()
    again = RigDraft(bench.rig)
    assert again.recovered
    with pytest.raises(ValueError, match="changed elsewhere"):
        again.save()
    again.save(over=again.theirs())
    assert "90 m" in bench.rig.read_text(encoding="utf-8")


def test_unsaved_work_of_another_bench_is_not_written_over(bench: Bench) -> None:
    one, other = RigDraft(bench.rig), RigDraft(bench.rig)
    one.change("thin", ["runs", "path", "length"], "90 m")
    unsaved = bench.folder / "sluice.toml.unsaved"
    kept = unsaved.read_bytes()
    other.change("thin", ["runs", "path", "length"], "80 m")
    assert not other.unkept
    assert "80 m" in unsaved.with_name("sluice.toml.unsaved-2").read_text(encoding="utf-8")
    assert unsaved.read_bytes() == kept
    other.give_up()
    assert unsaved.read_bytes() == kept
    one.give_up()
    assert not unsaved.exists()
