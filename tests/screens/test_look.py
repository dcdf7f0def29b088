"""The look: themes that can be read, layouts for each size, plain characters, keys that fit whole."""

import re

import pytest
from auralize_tui.bindings import HEARING, PLAYING, VIEWING, WORKING
from auralize_tui.help import HelpScreen, grouped
from auralize_tui.hints import AFTERWARDS, STEPS, hint
from auralize_tui.keyline import KeyHint, KeyLine, fitted
from auralize_tui.theme import THEMES
from textual.color import Color

from auralize.gains import End
from support.bench_app import drive, everything, text_of

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")


def _luminance(colour):
    """Relative luminance of WCAG 2.1 (value of the formula from memory)."""
    parts = [part / 255.0 for part in Color.parse(colour).rgb]
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def _contrast(one, other):
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("name", THEMES)
def test_every_colour_of_text_can_be_read(name):
    """WCAG 2.1 level AA asks 4.5 to 1, AAA 7 to 1 (values from memory)."""
    theme = THEMES[name]
    least = 7.0 if name == "high contrast" else 4.5
    for ground in (theme.background, theme.surface):
        for ink in (theme.foreground, theme.primary, theme.secondary, theme.warning, theme.error):
            assert _contrast(ink, ground) >= least


def test_a_theme_is_picked_in_the_palette(app):
    async def steps(pilot):
        commands = {c.title: c.callback for c in app.get_system_commands(app.screen)}
        assert "Hear the drop" in commands
        for words, theme in THEMES.items():
            commands[f"Colours: {words}"]()
            await pilot.pause()
            assert app.theme == theme.name

    drive(app, steps)


@pytest.fixture
def colourless(monkeypatch):
    """As on a terminal without colour; before the application is made."""
    monkeypatch.setenv("NO_COLOR", "1")


def test_without_colour_none_is_sent_or_offered(colourless, app):
    """Shades of grey are colours too; what stands out does so by bold and reverse."""

    async def steps(pilot):
        commands = [c.title for c in app.get_system_commands(app.screen)]
        assert not any(title.startswith("Colours") for title in commands)
        for key in ("d", "i", "escape", "e", "escape", "slash", "escape", "b"):
            await pilot.press(key)
            await pilot.pause(0.3)
            strips = app.screen._compositor.render_strips()
            styles = {segment.style for strip in strips for segment in strip if segment.style}
            sent = {
                style
                for style in styles
                for c in (style.color, style.bgcolor)
                if c and not c.is_default
            }
            assert not sent, key
            assert any(style.reverse for style in styles) or key in ("i", "b")
            assert any(style.underline for style in styles) or key != "slash"  # what is picked

    drive(app, steps)


@pytest.mark.parametrize(
    ("size", "rows", "large"),
    [((76, 21), 3, False), ((80, 24), 4, False), ((120, 40), 4, True), ((200, 60), 4, True)],
)
def test_each_size_has_a_layout_of_its_own(app, size, rows, large):
    async def steps(pilot):
        await pilot.press("d")
        await pilot.pause(0.3)
        screen = app.screen
        assert screen.query_one("#now").size.height == rows
        assert screen.query_one("#big").display == large
        assert ("▄▀▄" in everything(app) or "█" in text_of(screen, "#big")) == large
        for name in ("#heard", "#top", "#meters", "#message", "#caution", "KeyLine"):
            region = screen.query_one(name).region
            assert region.height > 0
            assert region.bottom <= size[1]
            assert region.right <= size[0]
        assert "Next: space plays" in everything(app)
        assert "loud sound damages hearing" in everything(app)

    drive(app, steps, size)


def test_what_to_do_next_stays_beside_news_that_only_pass(app):
    """The first press of play brings the device's news, of two lines on a small screen."""
    gap = "the sound had a gap; 90 ms are kept ready from now on, so keys act that much later"

    async def steps(pilot):
        app.engine.tell(gap, "device")
        await pilot.pause(0.3)
        shown = everything(app)
        assert "Next: space plays" in shown
        assert "the sound had a gap; 90 ms are kept ready" in shown
        assert "... (i: all)" in shown
        for key in ("space", "d", "2", "g"):
            await pilot.press(key)
        await pilot.pause(0.3)
        assert text_of(app.screen, "#message").endswith("that\nmuch later")  # now there is room

    drive(app, steps, (76, 21))


@pytest.mark.parametrize("size", [(76, 21), (120, 40)])
def test_on_a_plain_terminal_there_is_nothing_but_ascii(app, monkeypatch, size):
    monkeypatch.setenv("AURALIZE_DOTS", "plain")

    async def steps(pilot):
        for key in ("d", "i", "escape", "question_mark", "escape", *"ey", "escape", "b"):
            await pilot.press(key)
            await pilot.pause(0.3)
            at = app.screen.__class__.__name__
            odd = set(re.findall(r"[^\x00-\x7f]", everything(app)))
            assert not odd, at

    drive(app, steps, size)


def _keys(*widths, needed=True):
    return [KeyHint(f"k{n}", "x" * w, "", needed) for n, w in enumerate(widths)]


@pytest.mark.parametrize("width", range(0, 60, 7))
def test_keys_fit_whole_and_help_is_never_left_out(width):
    keys = [
        *_keys(7, 9, 3),
        KeyHint("other", "tab", "Other", False),
        KeyHint("h", "?", "Help", True, True),
    ]
    shown = fitted(keys, width)
    assert sum(key.width for key in shown) <= width
    assert width < 8 or keys[-1] in shown
    assert keys[3] not in shown or {*keys[:3]} <= {*shown}  # what is needed comes first


@pytest.mark.parametrize("size", [(76, 21), (80, 24), (120, 40), (200, 60)])
def test_the_line_of_keys_is_not_cut(app, size):
    async def steps(pilot):
        line = str(app.screen.query_one(KeyLine).render())
        assert len(line) <= size[0]
        assert line.rstrip().endswith("? Help")
        assert ("Pin" in line) == (size[0] >= 120)

    drive(app, steps, size)


def test_help_groups_every_key_once():
    groups = grouped([*PLAYING, *HEARING, *WORKING, *VIEWING])
    told = [one.id for bindings in groups.values() for one in bindings]
    assert len(told) == len(set(told))
    assert {"Listening", "Levels", "Looking", "Rig"} <= set(groups)
    assert "bench.match" in [one.id for one in groups["Levels"]]
    assert "bench.other" in [one.id for one in groups["Listening"]]
    assert "bench.edit" in [one.id for one in groups["Rig"]]


def test_help_shows_the_groups(app):
    async def steps(pilot):
        await pilot.press("question_mark")
        assert isinstance(app.screen, HelpScreen)
        shown = everything(app)
        assert shown.index("Listening") < shown.index("Levels") < shown.index("Looking")

    drive(app, steps, (120, 60))


def test_hints_go_on_with_what_was_done():
    assert hint(()) == f"Next: {'; '.join(words for _, words in STEPS)}"
    assert hint({"play", "other"}) == "Next: d: the drop; g: drops equally loud"
    assert hint({step for step, _ in STEPS}) == AFTERWARDS
    assert len(hint(())) <= 74  # of the smallest screen
    assert len(AFTERWARDS) <= 74


def test_the_first_minute_is_told_by_the_screen(app):
    """From the start to a drop beside another one in five keys or fewer, pressing what the screen says."""

    async def steps(pilot):
        pressed = []
        first = app.screen.chosen
        while told := re.search(r"Next: (\w+)", everything(app)):
            await pilot.press(told[1])
            await pilot.pause(0.3)
            pressed.append(told[1])
            assert len(pressed) <= 5
        status = app.engine.status()
        assert status.playing
        assert isinstance(status.heard, End)
        assert status.heard.signal == "drop"
        assert status.heard.choice != first
        assert status.drops == "equal" or "g" not in app.screen.active_bindings

    drive(app, steps)
