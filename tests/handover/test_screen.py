"""The page in Chromium: keys alone, labels, words, width, print; what is pressed reaches the sound."""

from __future__ import annotations

import base64
import json
import re
from importlib.resources import files
from pathlib import Path

import pytest

from auralize.units import rounded
from support.browsers import Chromium
from support.handed_pages import material, noise, written

HEARD = "return bench.sound.heard"
SHOWN = (
    "return Object.fromEntries(args[0].map((id) => [id, document.getElementById(id).textContent]))"
)
HOSTILE = '</script><img src=x onerror="console.error(1)">\u202e שלום \U0001f50a ]]>'


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return material(tmp_path_factory.mktemp("made"))


@pytest.fixture(scope="module")
def page(made, tmp_path_factory) -> Path:
    return written(tmp_path_factory.mktemp("page"), *made)


def opened(chromium: Chromium, page: Path, **how) -> Chromium:
    chromium.open(page, **how)
    chromium.run("await bench.ready")
    return chromium


def shown(chromium: Chromium, *ids: str) -> list[str]:
    found = chromium.run(SHOWN, list(ids))
    return [found[name] for name in ids]


def violations(chromium: Chromium, *rules: str) -> list[str]:
    """What axe-core (Deque, MPL 2.0) finds against WCAG 2.2 A and AA, and its own best practices.

    Against those rules alone, if some are given.
    """
    axe = pytest.importorskip("axe_playwright_python", reason="axe-playwright-python is missing")
    source = files(axe).joinpath("axe.min.js").read_text("utf-8")
    chromium.run(f"{source}")
    return chromium.run(
        "const found = await axe.run(document, args.length ? { runOnly: args } : {});"
        "return found.violations.map((one) => `${one.impact}: ${one.id}: ${one.nodes.map((n) => n.html)}`)",
        *rules,
    )


def test_it_plays_in_either_browser_and_asks_for_nothing(browser, page) -> None:
    browser.open(page)
    browser.run("await bench.ready")
    browser.press("d", " ")
    assert browser.run("return [bench.sound.playing, bench.sound.heard.signal]") == [True, "drop"]
    assert browser.console == []
    assert browser.requests == []


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_nothing_bars_anybody_from_the_page(chromium, page, dark) -> None:
    rules = ["color-contrast"] if dark else []  # nothing else is another in the dark
    opened(chromium, page, dark=dark)
    assert violations(chromium, *rules) == []
    chromium.press("?")
    assert violations(chromium, *rules) == []
    chromium.press("Escape", "b")
    assert violations(chromium, *rules) == []
    assert chromium.console == []


def test_it_fits_a_phone(chromium, page) -> None:
    opened(chromium, page, width=360, height=740)
    wide = chromium.run("return document.documentElement.scrollWidth")
    assert wide == 360
    small = chromium.run(
        "return [...document.querySelectorAll('button, .option, select, summary')]"
        ".map((one) => one.getBoundingClientRect()).filter((box) => box.height && box.height < 24).length"
    )
    assert small == 0  # WCAG 2.2, 2.5.8: targets of 24 pixels
    assert violations(chromium) == []


def test_single_keys_are_those_of_the_bench(chromium, page) -> None:
    opened(chromium, page)
    both = {"across": "both"}
    for keys, heard in (
        ("d", {"choice": 0, "signal": "drop", **both}),
        ("2", {"choice": 1, "signal": "drop", **both}),
        ("r", {"choice": 1, "signal": "receiving", **both}),
        ("s", {"choice": None, "signal": "source", **both}),
        ("3", {"choice": 2, "signal": "receiving", **both}),
        ("r", {"choice": 2, "signal": "receiving", **both}),
        ("9", {"choice": 2, "signal": "receiving", **both}),
    ):
        chromium.press(keys)
        assert chromium.run(HEARD) == heard, keys
    chromium.press("m", "g")
    way = chromium.run("return bench.sound.way")
    assert (way["match"], way["drops"]) == ("loudness", "equal")
    chromium.press("+")
    assert shown(chromium, "said")[0].startswith("Drops are equally loud")
    assert shown(chromium, "now-why") == shown(chromium, "said")
    chromium.press("g")
    assert shown(chromium, "now-why") == [""]
    chromium.press("+")
    assert shown(chromium, "said") == ["+ and - are for the drop: its make-up gain"]
    chromium.press("c")
    assert shown(chromium, "said")[0].startswith("c is for the drop")
    assert chromium.run("return [bench.sound.way.makeup, bench.sound.heard.signal]") == [
        None,
        "receiving",
    ]
    chromium.press("d", "+", "+", "-")
    way = chromium.run("return bench.sound.way")
    assert way["drops"] == "one"
    assert shown(chromium, "makeup") == [f"+{way['makeup']:.2f} dB"]
    chromium.press(".", "Space")
    assert chromium.run("return bench.sound.position") >= 0.1


def test_keys_rest_when_they_are_switched_off_or_a_dialog_is_open(chromium, page) -> None:
    opened(chromium, page)
    chromium.press("?", "d")
    assert chromium.run(HEARD)["signal"] == "receiving"
    was, later = chromium.run(  # nor does anything move behind it, as what a trial plays would
        """const shown = document.getElementById("time"), was = shown.textContent;
        bench.sound.seek(0.3);
        await new Promise((done) => setTimeout(done, 150));
        return [was, shown.textContent];"""
    )
    assert was == later
    chromium.run("document.getElementById('single').click()")
    chromium.press("Escape", "d")
    assert chromium.run(HEARD)["signal"] == "receiving"
    chromium.run("document.getElementById('single').click()")
    chromium.press("d")
    assert chromium.run(HEARD)["signal"] == "drop"


def test_tab_reaches_everything_and_shows_where_it_is(chromium, page) -> None:
    opened(chromium, page)
    reached, lit = [], []
    for _ in range(60):
        chromium.press("Tab")
        name, outline = chromium.run(
            "const at = document.activeElement;"
            "const edge = getComputedStyle(at.id === 'file' ? at.parentElement : at);"
            "return [at.id || at.name || at.tagName, edge.outlineStyle + edge.outlineWidth]"
        )
        if name == "BODY":
            break
        reached.append(name)
        lit.append(outline)
    wanted = {
        "play",
        "seek",
        "volume",
        "loop",
        "signal",
        "choice",
        "match",
        "drops",
        "less",
        "more",
    }
    assert wanted | {"overlay", "file", "trial", "keys-open", "step", "now-play", "SUMMARY"} <= set(
        reached
    )
    assert set(lit) == {"solid3px"}


def test_gains_are_in_view_and_told_once(chromium, page) -> None:
    opened(chromium, page)
    chromium.press("d", "2")
    gains = chromium.run("return bench.sound.gains(bench.sound.heard)")
    told = [
        f"{rounded(gains[name], '+.2f')} dB".replace("-", "\u2212")
        for name in ("match", "makeup", "headroom", "total")
    ]
    assert shown(chromium, "gain-match", "gain-makeup", "gain-headroom", "gain-total") == told
    heard, gain = shown(chromium, "now-heard", "now-gain")
    assert (heard, gain) == ("drop of \u2068bought\u2069", f"gain {told[3]}")
    assert (
        chromium.run(
            "const now = document.getElementById('now'), box = now.getBoundingClientRect();"
            "return box.bottom <= innerHeight && box.top > 0 && getComputedStyle(now).position"
        )
        == "fixed"
    )
    said = chromium.run(
        "await new Promise((done) => new MutationObserver(done).observe(document.getElementById('said'),"
        " {childList: true})); return document.getElementById('said').textContent"
    )
    assert said == f"{heard}, gain {told[3]}"


def test_the_slider_stands_where_it_is_heard(chromium, page) -> None:
    opened(chromium, page)
    start = chromium.run("return step.value")
    chromium.run("step.focus()")
    chromium.press("ArrowLeft")
    assert chromium.run("return step.value") != start
    chromium.run("unstep.click()")
    assert chromium.run("return [bench.sound.steps, step.value]") == [None, start]


def test_a_choice_that_is_picked_is_heard_from_the_source_too(chromium, page) -> None:
    opened(chromium, page)
    chromium.press("s")
    chromium.run("document.querySelector('[name=choice]:checked').click()")
    assert chromium.run(HEARD) == {"choice": 0, "signal": "receiving", "across": "both"}


def test_a_main_button_can_be_read_under_the_pointer(chromium, page) -> None:
    opened(chromium, page)
    look = "return getComputedStyle(play).backgroundColor"
    usual = chromium.run(look)
    chromium._on_thread(lambda: chromium.page.hover("#play"))
    assert chromium.run("return play.matches(':hover')")
    assert chromium.run(look) == usual


def test_the_slider_goes_to_a_step_and_says_which(chromium, made, page) -> None:
    opened(chromium, page)
    assert shown(chromium, "step-words") == ["as it is"]
    chromium.run("document.getElementById('step').focus()")
    chromium.press("ArrowLeft")
    step, facts = shown(chromium, "step-words", "step-facts")
    assert step == "20 m"
    assert facts.startswith("20 m (65.6 ft) of 2.5 mm2")
    assert chromium.run("return [bench.sound.steps, step.getAttribute('aria-valuetext')]") == [
        0,
        "20 m",
    ]
    chromium.press("3")
    assert shown(chromium, "step-facts") == [f"{made[0]['steps']['facts'][0][2]}."] != [facts]
    chromium.run("document.getElementById('unstep').click()")
    assert shown(chromium, "step-words", "step-facts") == ["as it is", ""]
    assert chromium.run("return bench.sound.steps") is None


def test_sliders_lists_and_arrows_reach_the_sound(chromium, page) -> None:
    opened(chromium, page)
    found = chromium.run(
        """const { sound } = bench, laid = [], begins = sound.volume;
        sound.overlay = (heard) => laid.push(heard);
        const set = (id, value, kind) => {
          const one = document.getElementById(id);
          one.value = value;
          one.dispatchEvent(new Event(kind));
        };
        set("seek", 0.2, "input");
        set("volume", -40, "input");
        set("overlay", 2, "change");
        set("overlay", "", "change");
        return [begins, sound.position, sound.volume, laid];"""
    )
    drop = {"choice": 0, "signal": "drop", "across": "both"}
    assert found == [-20, 0.2, -40, [drop, None]]
    for key, position in (("ArrowRight", 0.5), (",", 0.4), ("ArrowLeft", 0.0), (".", 0.1)):
        chromium.press(key)
        assert chromium.run("return bench.sound.position") == pytest.approx(position)


def test_what_is_not_certain_and_what_was_folded_is_said(chromium, page) -> None:
    opened(chromium, page)
    chromium.run(
        """const own = { certain: { value: false }, inside: { value: false }, foldedFrom: { value: 6 } };
        Object.defineProperties(bench.sound, own).dispatchEvent(new Event("change"));"""
    )
    uncertain, programme = shown(chromium, "uncertain", "programme")
    assert uncertain == "Gains are not certain yet."
    assert programme.endswith("(6 channels, mixed down to two)")


def test_bars_are_as_high_as_the_levels(chromium, page) -> None:
    """From 0 dBFS at 10 to -90 at 140 units: what sounds at half, what is laid over it at the foot."""
    opened(chromium, page)
    found = chromium.run(
        """const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
        const at = (level) => () => [{ frequency: 1000, level }];
        new SpectrumPicture(svg, { spectrum: at(-45), overlaySpectrum: at(-120) }, {}).draw();
        const told = (one, name) => svg.querySelector(one).getAttribute(name);
        return [told(".sounding", "y"), told(".sounding", "height"), told(".laid-over", "d")];"""
    )
    assert found == ["75", "65", "M34 140H376"]


def test_a_choice_without_one_conductor_is_heard_over_both(chromium, made, tmp_path) -> None:
    data, choices = {**made[0], "steps": None}, made[1]
    drop = next(one for one in data["signals"] if one["signal"] == "drop" and one["choice"] == 0)
    data["signals"] = [*data["signals"], {**drop, "across": "plus"}]
    opened(chromium, written(tmp_path, data, choices))
    chromium.press("d", "c")
    assert chromium.run(HEARD)["across"] == "plus"
    assert shown(chromium, "now-heard") == ["drop over plus of \u2068reel\u2069"]
    chromium.press("2")
    assert chromium.run(HEARD) == {"choice": 1, "signal": "drop", "across": "both"}
    chromium.press("c", "c", "c")
    assert chromium.console == []


def test_a_loop_is_set_by_one_key(chromium, page) -> None:
    opened(chromium, page)
    chromium.press("l")
    assert shown(chromium, "loop", "looped") == ["Loop: set the end", "from 0:00.0"]
    chromium.run("bench.sound.seek(0.3)")
    chromium.press("l")
    assert shown(chromium, "loop", "looped") == ["Loop: off", "from 0:00.0 to 0:00.3"]
    chromium.press("l")
    assert chromium.run("return bench.sound.looped") is None


def drop(chromium: Chromium, name: str, content: bytes) -> None:
    chromium.run(
        "const bytes = Uint8Array.from(atob(args[1]), (one) => one.charCodeAt(0));"
        "const carried = new DataTransfer(); carried.items.add(new File([bytes], args[0]));"
        "const kind = {dataTransfer: carried, bubbles: true, cancelable: true};"
        "document.body.dispatchEvent(new DragEvent('drop', kind));"
        "for (let n = 0; n < 200; n += 1) {"
        "  if (!trouble.hidden || said.textContent.endsWith('measured')) return;"
        "  await new Promise((later) => setTimeout(later, 25)); }",
        name,
        base64.b64encode(content).decode(),
    )


def test_music_of_ones_own_is_taken_and_put_back(chromium, page, tmp_path) -> None:
    opened(chromium, page)
    drop(chromium, "<b>mine</b>.wav", noise(tmp_path, 1.0, 44_100).read_bytes())
    assert shown(chromium, "programme") == ["Your own: \u2068<b>mine</b>.wav\u2069 "]
    assert chromium.run("return bench.sound.seconds") == pytest.approx(1.0, abs=1e-3)
    chromium.run("document.getElementById('back').click()")
    assert shown(chromium, "programme") == ["Programme inside: \u2068noise.wav\u2069"]
    assert chromium.run("return document.activeElement.id") == "file"


def test_what_is_no_sound_is_refused_in_a_sentence(chromium, page) -> None:
    opened(chromium, page, width=360, height=740)
    chromium.run(
        "scrollTo({top: document.getElementById('file').getBoundingClientRect().top, behavior: 'instant'})"
    )
    drop(chromium, "letter.txt", b"Dear miller")
    (trouble,) = shown(chromium, "trouble")
    assert trouble.startswith("\u2068letter.txt\u2069 cannot be played: it is no sound")
    assert chromium.run(
        "for (let n = 0; n < 200; n += 1) {"  # it scrolls there
        "  const {top, bottom} = trouble.getBoundingClientRect();"
        "  if (0 < top && bottom < innerHeight) return true;"
        "  await new Promise((later) => setTimeout(later, 25)); }"
        "return false"
    )
    assert chromium.run("return bench.sound.inside")


def test_hostile_words_do_nothing(chromium, made, tmp_path) -> None:
    data, choices = json.loads(json.dumps(made[0])), made[1]
    data["title"] = data["programme"]["name"] = HOSTILE
    for one in data["choices"]:
        one["name"] = one["label"] = HOSTILE
    data["choices"][1]["name"] = data["steps"]["what"] = "x" * 10_000
    opened(chromium, written(tmp_path, data, choices), width=360)
    assert chromium.run("return document.documentElement.scrollWidth") == 360
    chromium.press("d", "b")
    assert chromium.run("return [document.title, document.images.length]") == [HOSTILE, 0]
    assert shown(chromium, "now-heard") == [f"drop of \u2068{HOSTILE}\u2069"]
    assert chromium.console == []
    assert chromium.requests == []


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_on_one_sheet(chromium, page, tmp_path, paper) -> None:
    opened(chromium, page)
    chromium.print(tmp_path / "page.pdf", paper)
    # ISO 32000-1, 7.7.3.3: each page is an object of this type.
    assert len(re.findall(rb"/Type\s*/Page\b", (tmp_path / "page.pdf").read_bytes())) == 1
    seen = chromium.run(
        "return [...document.querySelectorAll('#player, #now, .signed')].map((one) => one.id)"
    )
    assert seen == ["player", "", "now"]


def test_without_javascript_all_but_the_player_is_there(chromium, page) -> None:
    text = page.read_text("utf-8")
    body = re.sub(r"<script>.*</script>", "", text, flags=re.DOTALL)
    bare = page.with_name("bare.html")
    bare.write_text(body, "utf-8")
    chromium.open(bare)
    visible = chromium.run("return document.body.innerText")
    for words in (
        "Before you listen",
        "2.5 mm2 twin, off its reel",
        "levels matched, at most",
        "DC loop resistance",
    ):
        assert words in visible
    assert not chromium.run("return document.getElementById('play').checkVisibility()")
