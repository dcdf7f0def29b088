"""The page as a text: valid, safe whatever anybody wrote, with words and digits of `auralize figures`."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import sys
import tomllib
from importlib.resources import files
from itertools import chain
from typing import Any
from xml.etree.ElementTree import Element

import pytest

from auralize.commands.main import main
from auralize.errors import RequestError
from auralize.figures.against_text import held_against
from auralize.handover.page import SCRIPTS, check_library, page_text
from auralize.rig.choice import Choice
from auralize.rig.reading import load_rig
from support.handed_pages import DEMO, material

html5lib = pytest.importorskip("html5lib", reason="html5lib (extra test) is not installed")

HOSTILE = {
    "script": "</script><script>alert(1)</script>",
    "quotes": "\"'><img src=x onerror='alert(1)'>",
    "sections": "]]> --> <!-- <![CDATA[ {{ 7 * 7 }} {% raw %}",
    "long": "x" * 10_000,
    "right-to-left": "\u202eשלום \u0645\u0631\u062d\u0628\u0627",
    "emoji": "\U0001f50a\ufe0f\U0001f469\u200d\U0001f527 5 Ω",
    "entities": "&amp;&lt;&#0;",
}
"""What a title or a label may be."""


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> tuple[dict[str, Any], list[Choice]]:
    data, choices = material(tmp_path_factory.mktemp("made"), steps=None)
    data["programme"]["data"] = data["programme"]["data"][:400]  # nothing plays here
    for signal in data["signals"]:
        signal["taps"] = signal["taps"][:400]
    return data, choices


@pytest.fixture(scope="module")
def page(made) -> str:
    data, choices = made
    return page_text(data, choices, choices[0])


def parsed(text: str) -> Element:
    """The page as the HTML standard reads it; any error in it is one of the test."""
    parser = html5lib.HTMLParser(namespaceHTMLElements=False, strict=True)
    return parser.parse(text)


def spoken(element: Element) -> str:
    """All of its text, with single spaces."""
    return " ".join("".join(element.itertext()).split())


def with_words(made, words: str) -> str:
    """The page where title, labels, facts, names of choices and of the sound are all these words."""
    data, choices = made
    data = json.loads(json.dumps(data))
    data["title"] = data["programme"]["name"] = data["rig"]["file"] = words
    for one in data["choices"]:
        one["label"] = one["name"] = one["facts"] = words
    return page_text(data, choices, choices[0])


def test_it_is_valid_html_in_the_language_of_its_data(made, page) -> None:
    root = parsed(page)
    assert root.get("lang") == made[0]["language"]
    assert root.find("head/title").text == made[0]["title"]
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    assert {one.get("for") for one in root.iter("label")} - {None} <= set(ids)
    said, words = spoken(root.find("body")), tomllib.loads(read("texts.toml"))["page"]
    for key in ("caution", "caution_start", "trust_safety", "signed"):
        assert words[key] in said
    for told in (made[0]["rig"]["fingerprint"], "noise.wav, 0.5 s from 0.0 s", held_against()):
        assert told in said


def test_without_its_library_one_sentence_says_what_brings_it(monkeypatch) -> None:
    check_library()
    monkeypatch.setitem(sys.modules, "jinja2", None)
    with pytest.raises(RequestError, match="pip install jinja2"):
        check_library()


def test_made_twice_it_is_the_same(made, page) -> None:
    data, choices = made
    assert page_text(json.loads(json.dumps(data)), choices, choices[0]) == page


def test_nothing_but_its_own_script_and_style_may_run_and_nothing_be_fetched(page) -> None:
    # W3C, Content Security Policy Level 3, 2.3.1: a hash source is the Base64 of SHA-256 of the text.
    root = parsed(page)
    (policy,) = (one.get("content") for one in root.iter("meta") if one.get("http-equiv"))
    rules = dict(rule.split(" ", 1) for rule in policy.split("; "))
    (script,) = (one for one in root.iter("script") if not one.get("type"))
    for name, element in (("script-src", script), ("style-src", root.find("head/style"))):
        digest = hashlib.sha256(element.text.encode()).digest()
        assert rules.pop(name) == f"'sha256-{base64.b64encode(digest).decode()}'"
    assert rules.pop("img-src") == "data:"
    assert rules.pop("media-src") == "data: blob:"
    assert set(rules.values()) == {"'none'"}
    assert set(rules) == {"default-src", "form-action", "base-uri"}
    assert not [one for one in root.iter() for name in one.attrib if name.startswith("on")]
    links = [one.get(name) for one in root.iter() for name in ("src", "href") if one.get(name)]
    assert all(link.startswith(("#", "data:")) for link in links)


def test_its_data_come_out_as_they_went_in(made, page) -> None:
    inside = {one.get("id"): one.text for one in parsed(page).iter("script")}
    assert json.loads(inside["data"]) == made[0]
    assert "<" not in inside["data"] + inside["texts"]


@pytest.mark.parametrize("words", HOSTILE.values(), ids=HOSTILE)
def test_hostile_words_are_words(made, page, words) -> None:
    text = with_words(made, words)
    root, harmless = parsed(text), parsed(page)
    assert root.find("head/title").text == words
    assert spoken(root.find("body/header/h1")) == " ".join(words.split())
    labels = [spoken(one) for one in root.iter() if one.get("class") == "words"]
    assert sum(" ".join(words.split()) in label for label in labels) == len(made[1])
    tags = {one.tag for one in harmless.iter()}
    assert {one.tag for one in root.iter()} <= tags
    for tag in ("script", "img", "style", "iframe"):
        assert len(list(root.iter(tag))) == len(list(harmless.iter(tag)))


def test_what_is_no_text_at_all_does_not_spoil_it(made) -> None:
    # HTML standard, 13.2.3.5: controls, halves of surrogate pairs and noncharacters are errors.
    root = parsed(with_words(made, "a\x00b\x1b\x85\ud800\ufffe\U0001ffff!"))
    assert root.find("head/title").text == "a" + "\ufffd" + "b" + "\ufffd" * 5 + "!"


def minus(text: str) -> str:
    return " ".join(text.replace("\u2212", "-").split())


def test_words_and_digits_are_those_of_the_figures(page, capsys) -> None:
    main(["figures", str(DEMO / "saltmarsh.toml")])
    told = " ".join(capsys.readouterr().out.split())
    root = parsed(page)
    rows = [[spoken(cell) for cell in row] for row in root.iter("tr")]
    assert len(rows) > 40
    assert not [cell for row in rows for cell in row if re.match(r"-\d", cell)]  # not read aloud
    for cells in rows:
        assert minus(" ".join(cells)) in told, cells
    sentences = [
        spoken(one)
        for one in chain(*(d.iter("dd") for d in root.iter("dl") if d.get("class") == "told"))
    ]
    notes = [
        spoken(one) for li in root.iter("ul") if li.get("class") == "known" for one in li.iter("li")
    ]
    assert len(sentences) == 2
    assert len(notes) >= 4
    for sentence in (*sentences, *notes):
        assert sentence in told


def test_cautions_stand_out_and_name_their_choice(made) -> None:
    choices = load_rig(DEMO / "path.toml").pick([])
    signals = [{**made[0]["signals"][0], "filter_error": -30.0}]
    named = [{"name": one.name, "label": one.label, "facts": ""} for one in choices]
    data = {**made[0], "signals": signals, "choices": named}
    root = parsed(page_text(data, choices, choices[0]))
    found = [
        spoken(one)
        for box in root.iter("div")
        if box.get("class") == "caution"
        for one in box.iter("li")
    ]
    assert any(one.startswith("swapped: ") and "plus and minus swapped" in one for one in found)
    assert any(
        one.startswith("sound: Caution: receiving end is off by up to 3.2 %") for one in found
    )


def test_one_choice_alone_has_no_comparison(made) -> None:
    data, choices = made
    offered = {"match": "loudness", "drops": "equal", "makeup": None}
    data = {**data, "choices": data["choices"][:1], "steps": None, "offered": offered}
    data["signals"] = [one for one in data["signals"] if one["choice"] == 0]
    root = parsed(page_text(data, choices[:1], choices[0]))
    begins = {
        one.get("name"): one.get("value") for one in root.iter("input") if "checked" in one.attrib
    }
    assert (begins["match"], begins["drops"]) == ("1", "equal")
    text = spoken(root)
    assert "What arrives, against" not in text
    assert tomllib.loads(read("texts.toml"))["page"]["alone"] in text


# ---- words in one place


def read(name: str) -> str:
    return files("auralize.handover").joinpath(name).read_text("utf-8")


def test_all_words_of_the_page_are_in_one_file() -> None:
    bare = re.sub(r"\{[{%].*?[%}]\}|<[^>]*>", " ", read("page.html"), flags=re.DOTALL)
    assert not re.findall(r"[^\W\d_]{2,}", bare)
    for attribute in ("aria-label", "title", "alt", "placeholder"):
        for value in re.findall(rf'\b{attribute}="([^"]*)"', read("page.html")):
            assert not re.sub(r"\{\{.*?\}\}|[\s:]", "", value)


@pytest.mark.parametrize("name", ["screen.js", "spectrum.js"])
def test_scripts_have_no_sentences(name) -> None:
    code = re.sub(r"//.*|/\*.*?\*/", "", read(name).replace("://", ""), flags=0)
    literals = re.findall(r'"([^"\n]*)"|`([^`]*)`', code)
    for literal in map("".join, literals):
        bare = re.sub(r"\$\{.*?\}", "", literal)
        assert not re.search(
            r"[A-Za-z]{2,} [a-z]{2,}(?![-\w]*[\[(=:])", bare.replace("use strict", "")
        ), literal


def test_no_word_is_left_over() -> None:
    texts = tomllib.loads(read("texts.toml"))
    sources = {
        "page": read("page.html") + read("contents.py"),
        "drawing": read("installation.py") + read("plots.py"),
        "screen": read("screen.js") + read("spectrum.js") + read("page.html"),
        "sound": read("sound.js"),
        "trial": read("trial.js"),
    }
    made_up = r"(across|match|drops|gain|heard|protocol|kind|matched|triangle)(_|-to-sample|$)"
    for part, source in sources.items():
        for key in texts[part]:
            taken = rf"(\bt|[wW]ords|texts\.screen)\.{key}\b|([wW]ords|\bt)\[\"{key}\"\]|fail\(\"{key}\""
            assert re.search(taken, source) or re.match(made_up, key), f"{part}.{key}"


def test_scripts_end_nowhere_but_at_their_end() -> None:
    for name in (*SCRIPTS, "page.css"):
        assert not re.search(r"</(script|style)|<!--", read(name), re.IGNORECASE)


def test_many_choices_are_in_several_tables_that_fit_on_paper(made) -> None:
    data, choices = made
    root = parsed(page_text({**data, "choices": data["choices"] * 3}, choices * 3, choices[0]))
    heads = [len(list(table.iter("th"))) for table in root.iter("thead")]
    assert heads[:2] == [6, 3]


# ---- colours


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definitions)."""
    shares = [int(colour[n : n + 2], 16) / 255.0 for n in (1, 3, 5)]
    linear = [s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
def test_lines_and_letters_of_drawings_stand_out(scheme) -> None:
    # WCAG 2.2: 1.4.11 wants 3 to 1 of what a picture is made of, 1.4.3 wants 4.5 to 1 of letters.
    block = re.findall(r":root \{(.*?)\}", read("page.css"), re.DOTALL)[scheme]
    colours = dict(re.findall(r"--([\w-]+): (#\w{6})", block))
    for name in ("c0", "c1", "c2", "c3", "c4", "c5", "edge", "accent"):
        assert contrast(colours[name], colours["sheet"]) >= 3.0, name
    for name in ("ink", "soft"):
        assert min(contrast(colours[name], colours[on]) for on in ("sheet", "paper", "tint")) >= 4.5
