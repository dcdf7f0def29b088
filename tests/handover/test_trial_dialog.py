"""The dialog of a blind trial: keys alone are enough, and it ends as the bench's does."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from auralize.trials.statistics import findings
from support.browsers import Chromium
from support.pages import script_page
from support.trial_page import DATA, STAND_IN, WORDS, checked


def is_gone(page: Chromium) -> bool:
    """Whether the dialog was closed; the browser tells it of that in its own time."""
    for _ in range(200):
        if page.run("return document.querySelector('#trial-dialog') === null;"):
            return True
        time.sleep(0.02)
    return False


@pytest.fixture(scope="module")
def page(chromium: Chromium, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chromium]:
    folder = tmp_path_factory.mktemp("trial")
    opened = chromium.open(script_page(folder, ["numbers.js", "trial.js"], STAND_IN))
    yield opened
    assert opened.console == []


def test_a_session_is_held_by_keys_alone(page: Chromium, tmp_path: Path) -> None:
    page.run(
        """globalThis.sound = new StandIn();
        globalThis.saved = [];
        URL.createObjectURL = (blob) => { saved.push(blob); return "about:blank#log"; };
        HTMLAnchorElement.prototype.click = function () { saved.push(this.download); };
        globalThis.ticks = [];
        globalThis.setInterval = (act) => ticks.push(act); // time passes when the test says so
        openTrial(sound, args[0], args[1]);""",
        DATA,
        WORDS,
    )

    def focused() -> str:
        return page.run("const one = document.activeElement; return one.name || one.textContent;")

    def reach(name: str) -> None:
        for _ in range(20):
            if focused() == name:
                return
            page.press("Tab")
        raise AssertionError(f"{name} cannot be reached; {focused()} is in focus")

    reach("trials")
    page.press("Backspace", "Backspace", "2")
    reach("listener")
    page.press("M", "i", "l", "1", "Enter")
    commitment = page.run("return document.querySelector('#trial-dialog code').textContent;")
    for _ in range(2):
        for number in "123":
            page.press(number)
            page.run("ticks.at(-1)(); sound.pass(0.31); ticks.at(-1)();")
        reach("answer")
        page.press("ArrowDown", "Enter")
    assert (
        page.run("return document.querySelector('#trial-dialog h2').textContent;")
        == WORDS["outcome"]
    )
    reach(WORDS["save"])
    page.press("Enter")
    log, name = page.run("return [await saved[0].text(), saved[1]];")
    check = checked(tmp_path, log)
    assert check.outcome is not None
    assert check.plan is not None
    assert check.plan.listener == "Mil1"
    assert check.commitment == commitment
    assert name.startswith("trial-")
    told = page.run("return document.querySelector('#trial-dialog').innerText;")
    witness = (check.outcome.seed, check.fingerprint)
    for sentence in (*findings(check.outcome.result), check.plan.difference, *witness):
        assert sentence in told
    page.press("Escape")
    assert is_gone(page)


def test_escape_gives_up_only_when_pressed_twice_and_the_log_is_offered(page: Chromium) -> None:
    seen = page.run(
        """const sound = new StandIn();
        openTrial(sound, args[0], args[1]);
        const form = document.querySelector("#trial-dialog form");
        const { first, second, listener } = form.elements;
        const lists = () => [first, second].map((list) => [...list.options].map(({ text }) => text));
        const [before] = lists();
        form.querySelector("[value=drop-plus]").click();
        const after = lists();
        [first.value, second.value, listener.value] = [1, 0, "<b>Ute</b>"];
        form.requestSubmit();
        const shown = document.querySelector("#trial-dialog"), find = (one) => shown.querySelector(one);
        let taken = false;
        document.addEventListener("drop", () => { taken = true; });
        shown.dispatchEvent(new DragEvent("drop", { bubbles: true, cancelable: true }));
        find("[type=range]").value = -40;
        find("[type=range]").dispatchEvent(new Event("input"));
        find(".presentation").click();
        sound.dispatchEvent(new Event("end"));
        return {
            before, after, pair: sound.frozen, taken, volume: sound.volume, playing: sound.playing,
            told: [find("h2"), find("[role=status]")].map((one) => one.textContent),
            odd: shown.querySelectorAll("b, [aria-pressed=true]").length,
        };""",
        DATA,
        WORDS,
    )
    drops = ["drop over plus of reel", "drop over plus of beams"]
    assert seen == {
        "before": ["receiving end of reel", "receiving end of beams", "source"],
        "after": [drops, drops],
        "pair": [{"choice": choice, "signal": "drop", "across": "plus"} for choice in (1, 0)],
        "taken": False,
        "volume": -40,
        "playing": False,
        "told": ["Trial 1 of 16: <b>Ute</b>", WORDS["programme_ended"]],
        "odd": 0,
    }
    head = "return document.querySelector('#trial-dialog h2').textContent;"
    page.press("Escape")
    assert page.run(head) == "Trial 1 of 16: <b>Ute</b>"
    page.press("Escape")
    assert page.run(head) == WORDS["given_up"]
    page.press("Escape")
    assert is_gone(page)
