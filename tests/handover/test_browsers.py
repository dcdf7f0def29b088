"""What the tests of pages rest on: both browsers tell what a page says, asks for and is refused."""

PAGE = """<!DOCTYPE html><html lang="en"><meta charset="utf-8"><title>mill</title>
<meta http-equiv="Content-Security-Policy" content="{}script-src 'unsafe-inline'">
<p>Tide mill</p></html>"""
FETCH = "console.log('creaks'); await fetch('http://localhost:4711/x').catch(() => 0)"


def test_what_a_page_says_and_asks_for_or_is_refused_is_noted(browser, tmp_path):
    path = tmp_path / "page.html"
    path.write_text(PAGE.format(""))
    page = browser.open(path)
    page.run(FETCH)
    assert any("creaks" in said for said in page.console)
    assert page.requests == ["http://localhost:4711/x"]
    path.write_text(PAGE.format("default-src 'none'; "))
    page = browser.open(path)
    assert (page.console, page.requests) == ([], [])  # what was before is forgotten
    page.run(FETCH)
    assert len(page.console) > 1


def test_pictures(chromium, tmp_path):
    path = tmp_path / "page.html"
    path.write_text(PAGE.format(""))
    chromium.open(path, width=320, height=480).picture(tmp_path / "page.png")
    header = (tmp_path / "page.png").read_bytes()[:24]
    assert (int.from_bytes(header[16:20]), int.from_bytes(header[20:24])) == (320, 480)
