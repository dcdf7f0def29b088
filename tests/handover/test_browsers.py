"""What the tests of pages rest on: both browsers run JavaScript, and tell what a page says and asks for."""

PAGE = """<!DOCTYPE html><html lang="en"><meta charset="utf-8"><title>mill</title>
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; script-src 'unsafe-inline'">
<p>Tide mill</p><script>"use strict"; class Wheel { turns = 3; }</script></html>"""


def test_a_page_runs_javascript_in_its_own_scope(browser, tmp_path):
    path = tmp_path / "page.html"
    path.write_text(PAGE)
    page = browser.open(path)
    assert page.run("return [await new Wheel().turns, args]", 1, "é") == [3, [1, "é"]]
    assert page.run("return undefined") is None
    assert (page.console, page.requests) == ([], [])


def test_keys_reach_the_page(browser, tmp_path):
    path = tmp_path / "page.html"
    path.write_text(PAGE)
    page = browser.open(path)
    page.run("window.got = []; addEventListener('keydown', (event) => got.push(event.key))")
    page.press("a", "Enter")
    assert page.run("return window.got") == ["a", "Enter"]


def test_what_a_page_says_and_asks_for_is_noted(browser, tmp_path):
    path = tmp_path / "page.html"
    path.write_text(PAGE.replace("default-src 'none'; ", ""))
    page = browser.open(path)
    page.run("console.log('creaks'); await fetch('http://localhost:4711/x').catch(() => 0)")
    assert any("creaks" in said for said in page.console)
    assert page.requests == ["http://localhost:4711/x"]


def test_what_the_policy_refuses_is_noted(browser, tmp_path):
    path = tmp_path / "page.html"
    path.write_text(PAGE)
    page = browser.open(path)
    page.run("await fetch('http://localhost:4711/x').catch(() => 0)")
    assert page.console


def test_pictures_and_prints(browser, tmp_path):
    path = tmp_path / "page.html"
    path.write_text(PAGE)
    page = browser.open(path, width=320, height=480)
    page.picture(tmp_path / "page.png")
    page.print(tmp_path / "page.pdf", "Letter")
    header = (tmp_path / "page.png").read_bytes()[:24]
    assert (int.from_bytes(header[16:20]), int.from_bytes(header[20:24])) == (320, 480)
    assert (tmp_path / "page.pdf").read_bytes().startswith(b"%PDF")
