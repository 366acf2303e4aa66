"""
The page that restores in a browser, paperkey_alt/rescue/page.html, in Debian's chromium and
firefox-esr, opened from its file. It was written from docs/format.md alone, and is held against
the vectors as the two other implementations are.
"""

import base64
import http.server
import importlib.util
import io
import random
import re
import threading
import time
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from browsers import CHROMIUM, FIREFOX, PAGE, RESTORE, Tab, chromium, sha256
from desks import CERTIFICATE, CORPUS, KEY, PASSPHRASE, SMALL, SMALL_CERTIFICATE, Desk
from marionette import Firefox
from PIL import Image, ImageFilter

from paperkey_alt.keys.openpgp import armor

VECTORS = Path(__file__).parents[1] / "vectors/version-1"
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
no_chromium = CHROMIUM is None or importlib.util.find_spec("playwright") is None
needs_chromium = pytest.mark.skipif(no_chromium, reason="no chromium or no playwright here")
needs_firefox = pytest.mark.skipif(FIREFOX is None, reason="no firefox here")
pytestmark = [pytest.mark.long]


@pytest.fixture(scope="module")
def playwright():
    """What drives Chromium; one alone can be at work."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - it need not be there

    with sync_playwright() as started:
        yield started


@pytest.fixture(scope="module")
def browser(playwright):
    """One Chromium for all tests."""
    with chromium(playwright) as started:
        yield started


@pytest.fixture
def tab(browser):
    """The page, freshly opened. It complains of nothing and asks for nothing but its own files."""
    made = Tab(browser)
    yield made
    assert made.complaints == []
    assert [url for url in made.requests if not url.startswith(("file:", "blob:"))] == []
    made.context.close()


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    """Sheets to read: the demo key lean and compact, a small key in shares."""
    made = Desk(tmp_path_factory.mktemp("page"), None)
    made.ok("backup", KEY, "-o", "lean.pdf", "--text", "lean.txt")
    compact = ("--compact", "--passphrase-from", "pw")
    made.ok("backup", KEY, *compact, "-o", "compact.pdf", "--text", "compact.txt")
    (made.folder / "s").mkdir()
    (made.folder / "t").mkdir()
    made.ok("backup", SMALL, "--any", 2, "--of", 3, "-o", "s", "--text", "t")
    return made


def key_file(path):
    """The bytes of an armored key."""
    return armor.dearmor(path.read_bytes())[0].data


def as_text(data):
    """For JavaScript."""
    return base64.b64encode(data).decode()


def pictures(pdf, dpi):
    """The pages as PNG, grey as a scanner makes them."""
    made = []
    for page in pypdfium2.PdfDocument(pdf):
        target = io.BytesIO()
        page.render(scale=dpi / 72, grayscale=True).to_pil().save(target, "PNG", compress_level=1)
        made.append(target.getvalue())
    return made


def vector(name):
    """A vector: what is to be found, its digest, and what the page is given."""
    said, text = {}, (VECTORS / f"{name}.txt").read_text("utf-8")
    for key, value in re.findall(r"^# ([a-z0-9]+): (.*)$", text, re.MULTILINE):
        said.setdefault(key, []).append(value)
    others = [re.sub(" ", "-", other.replace(",", "")) for other in said.get("with", ())]
    texts = [text, *((VECTORS / f"{other}.txt").read_text("utf-8") for other in others)]
    given = {"texts": texts, "names": " ".join(said.get("mark", ()))}
    given["passphrase"] = said.get("passphrase", [""])[0]
    return said["expect"][0], said.get("sha256", [None])[0], said.get("apart", []), given


def found(page, name, *, typed):
    """What the page makes of a vector, in the words of the vectors, and what it should make."""
    expect, digest, apart, given = vector(name)
    shown = page.run(RESTORE, given | {"typed": typed})
    outcome = shown["outcome"]
    # A compact vector has no certificate: it is far enough that the page asks for it.
    if outcome == "certificate" and shown.get("payload") == digest:
        outcome = "ok"
    elif outcome == "ok":
        assert digest in (shown["file"], shown["payload"]), name
        assert apart == list(filter(None, shown["apart"].split(","))), name
        for word in ("mended", "wrong", "missing"):
            outcome = f"{word} {shown[word]}" if shown[word] else outcome
    assert shown["offered"] is ("file" in shown)
    return outcome, expect


def mistaken(page):
    """The vectors in which the page finds something else; every other one is typed."""
    names = sorted(path.stem for path in VECTORS.glob("*.txt"))
    assert len(names) == 99
    both = {name: found(page, name, typed=at % 2 == 0) for at, name in enumerate(names)}
    return {name: pair for name, pair in both.items() if pair[0] != pair[1]}


@needs_chromium
def test_all_vectors_in_chromium(tab):
    """What is to be found in each is found, and the bytes are those that were printed."""
    assert mistaken(tab) == {}


@needs_firefox
def test_all_vectors_and_a_seal_in_firefox(tmp_path, desk):
    """The same in another browser; and a compact key under the program's own seal."""
    firefox = Firefox(FIREFOX, tmp_path)
    try:
        firefox.call("WebDriver:Navigate", url=PAGE.as_uri())
        assert mistaken(firefox) == {}
        shown = firefox.run(RESTORE, sealed(desk))
        print(f"\nfirefox {firefox.version}: compact {shown['ms']:.0f} ms")
        assert shown["file"] == sha256(key_file(KEY))
    finally:
        firefox.close()


def sealed(desk):
    """The compact print of the demo key, and what opens it."""
    return {
        "texts": [desk.read("compact.txt").decode()],
        "passphrase": PASSPHRASE,
        "certificate": as_text(CERTIFICATE.read_bytes()),
    }


@needs_chromium
def test_a_wrong_passphrase_gives_nothing_and_the_right_one_the_key(tab, desk):
    """Under the program's own seal, and a certificate of another key is named as such."""
    given = sealed(desk)
    shown = tab.run(RESTORE, given | {"passphrase": "Low water at dawn"})
    assert (shown["outcome"], shown["offered"]) == ("passphrase", False)
    other = as_text(SMALL_CERTIFICATE.read_bytes())
    assert tab.run(RESTORE, given | {"certificate": other})["outcome"] == "certificate"
    shown = tab.run(RESTORE, given)
    print(f"\nchromium {tab.context.browser.version}: compact {shown['ms']:.0f} ms")
    assert tab.saved() == ("secret-key.pgp", key_file(KEY))


@needs_chromium
@pytest.mark.parametrize("name", ["curve25519-aead", "brainpool-p512", "v6-curve448-argon2"])
def test_compact_keys_of_other_kinds(tab, tmp_path, name):
    """Curves computed, AEAD and a derivation by memory: each byte of the key is as it was."""
    made, source = Desk(tmp_path, None), CORPUS / f"{name}.asc"
    passphrase = ("--passphrase-from", "pw")
    made.ok("backup", source, "--compact", *passphrase, "-o", "s.pdf", "--text", "s.txt")
    certificate = as_text(source.with_suffix(".cert.asc").read_bytes())
    given = {"texts": [made.read("s.txt").decode()], "passphrase": PASSPHRASE}
    shown = tab.run(RESTORE, given | {"certificate": certificate})
    assert shown["file"] == sha256(key_file(source)), shown


@needs_chromium
@pytest.mark.parametrize("dpi", [150, 300])
def test_sheets_as_pictures(tab, desk, dpi):
    """Scans at both ends of what is advised give what `ragleaf restore` gives of them."""
    files = [as_text(picture) for picture in pictures(desk.read("lean.pdf"), dpi)]
    cert = as_text(CERTIFICATE.read_bytes())
    shown = tab.run(RESTORE, {"files": files, "certificate": cert})
    assert shown["outcome"] == "ok", shown
    desk.ok("restore", "lean.pdf", "--public", CERTIFICATE, "--binary", "--force", "-o", "ours")
    assert tab.saved()[1] == desk.read("ours")


@needs_chromium
def test_damage(tab, desk):
    """
    As many lines lost as there are spare ones and two wrong characters in twelve more: the key.
    One more lost: nothing, and it is told what is missing.
    """
    choose = random.Random(3)
    rows = [r for r in desk.read("lean.txt").decode().splitlines() if not r.startswith("#")]
    kept = [rows[0], *sorted(choose.sample(rows[1:], len(rows) - 1 - 46), key=rows.index)]
    for at in choose.sample(range(1, len(kept)), 12):
        row = list(kept[at])
        for place in choose.sample([at for at in range(6, len(row)) if row[at] != " "], 2):
            row[place] = choose.choice(ALPHABET.replace(row[place], ""))
        kept[at] = "".join(row)
    given = {"certificate": as_text(CERTIFICATE.read_bytes()), "typed": True}
    shown = tab.run(RESTORE, given | {"texts": kept})
    assert shown["file"] == sha256(key_file(KEY))
    assert len(shown["mended"].split(",")) <= 12
    shown = tab.run(RESTORE, given | {"texts": kept[:-1]})
    assert (shown["outcome"], shown["offered"]) == ("beyond repair", False)
    assert kept[-1].split()[0] in re.findall(r"\d+", shown["words"])


@needs_chromium
def test_shares_and_who_agrees(tab, desk):
    """Any two give the key, and are named; one does not; what contradicts is a question."""
    texts = [(desk.folder / f"t/share-{number}.txt").read_text() for number in (1, 2, 3)]
    given = {"certificate": as_text(SMALL_CERTIFICATE.read_bytes())}
    shown = tab.run(RESTORE, given | {"texts": texts[::2]})
    assert shown["file"] == sha256(key_file(SMALL))
    assert "These shares agree: share 1 of 3" in shown["notes"]
    shown = tab.run(RESTORE, given | {"texts": texts[:1]})
    assert (shown["outcome"], shown["offered"]) == ("beyond repair", False)
    contradicting = vector("a-share-that-contradicts")[3]
    shown = tab.run(RESTORE, contradicting)
    assert (shown["outcome"], shown["offered"]) == ("conflict", False)
    assert "share 2 of 3 (set mark 62MG4) — against — share 1 of 3" in shown["words"]
    tab.page.get_by_role("button", name="I trust share 1 of 3 (set mark 4BAYU)").click()
    tab.page.locator("#result").wait_for()
    assert "62MG4" in tab.page.locator("#notes").text_content()


@needs_chromium
def test_a_file_that_is_nothing(tab, tmp_path):
    """20 MB of noise, an empty file, a PDF and a cut picture are refused; the page lives on."""
    noise = random.Random(1).randbytes(20_000_000)
    picture = cut_picture()
    for name, data in {"n": noise, "e": b"", "p.pdf": b"%PDF-1.7\n\0", "c.png": picture}.items():
        (tmp_path / name).write_bytes(data)
    tab.page.locator("#sources").set_input_files(sorted(tmp_path.iterdir()))
    until(lambda: tab.page.locator("#files li").count() == 4 and "being read" not in told(tab))
    assert "neither a text nor a picture" in told(tab)
    assert "n: neither" in told(tab)
    assert "c.png: neither" in told(tab)
    assert "a PDF, which this page cannot read" in told(tab)
    assert tab.run(RESTORE, vector("whole")[3])["outcome"] == "ok"


def cut_picture():
    """The first half of a PNG's bytes."""
    target = io.BytesIO()
    Image.effect_noise((200, 200), 90).save(target, "PNG")
    return target.getvalue()[:90]


def told(tab, where="#files"):
    """The text of an element."""
    return tab.page.locator(where).text_content()


def until(done, seconds=30):
    """Poll, for the page's policy forbids what playwright waits with."""
    end = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end, "it takes too long"
        time.sleep(0.02)


TRIES = """async (address) => {
  const answer = (promise) => promise.then(() => 'sent', () => 'refused'), answers = [];
  const loaded = (made, change) => new Promise((done, fail) => {
    made.onload = done;
    made.onerror = fail;
    change(made);
    setTimeout(fail, 1000);
  });
  answers.push(await answer(fetch(address)));
  const ask = (xhr) => { xhr.open('GET', address); xhr.send(); };
  answers.push(await answer(loaded(new XMLHttpRequest(), ask)));
  answers.push(await answer(loaded(new Image(), (image) => { image.src = address; })));
  for (const tag of ['script', 'iframe']) {
    const put = (made) => { made.src = address; document.body.append(made); };
    if (tag === 'script') answers.push(await answer(loaded(document.createElement(tag), put)));
    else put(document.createElement(tag));
  }
  navigator.sendBeacon(address, 'x');
  try { new WebSocket(address.replace('http', 'ws')); } catch { answers.push('refused'); }
  const form = document.createElement('form');
  form.action = address;
  document.body.append(form);
  form.submit();
  const script = document.createElement('script');
  script.textContent = 'document.title = "written in"';
  document.body.append(script);
  answers.push(document.title === 'written in' ? 'run' : 'refused');
  try { new Function('return 1')(); answers.push('run'); } catch { answers.push('refused'); }
  await new Promise((done) => setTimeout(done, 300));
  return answers;
}"""


@pytest.fixture
def harbour():
    """A server on this computer: its address, and the list of what it was asked."""
    asked = []

    class Handler(http.server.BaseHTTPRequestHandler):
        """Notes each request."""

        def do_GET(self):
            """Note it and answer with nothing."""
            asked.append(self.path)
            self.send_response(200)
            self.end_headers()
            self.wfile.write(b"noted")

        do_POST = do_GET  # noqa: N815 - the library's name

        def log_message(self, *_):
            """Say nothing."""

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}/", asked
        server.shutdown()
        thread.join()


@needs_chromium
def test_nothing_leaves_the_page(browser, harbour):
    """
    Requests, pictures, frames, forms and scripts written in later, tried in the page itself: a
    server beside it is never asked, the browser says why, and nothing is stored.
    """
    address, asked = harbour
    tab = Tab(browser)
    assert set(tab.run(TRIES, address)) == {"refused"}
    assert asked == []
    assert any("Content Security Policy" in complaint for complaint in tab.complaints)
    stored = "async () => [document.cookie, localStorage.length, sessionStorage.length]"
    assert tab.run(stored) == ["", 0, 0]
    open_page = browser.new_page()
    open_page.goto(address)
    assert asked, "the server would have noticed"
    tab.context.close()
    open_page.close()


@needs_chromium
def test_typing_by_keyboard_alone(tab):
    """
    Each line is checked as it ends; a wrong character is pointed at, and the proposal is taken
    with the keyboard; what was typed is saved as text; all is forgotten when told.
    """
    *_, given = vector("one-character-wrong")
    rows = [row for row in given["texts"][0].splitlines() if not row.startswith("#")]
    tab.page.locator("#lines").focus()
    tab.page.keyboard.insert_text("\n".join(rows))
    until(lambda: tab.page.locator("#review mark").count() == 1)
    assert re.search(r"Row 4: look at group \d, character \d", told(tab, "#review"))
    tab.page.keyboard.press("Tab")
    assert tab.page.evaluate("document.activeElement.textContent") == "Yes, take it"
    tab.page.keyboard.press("Enter")
    until(lambda: "Right: lines 0 to 14." in told(tab, "#review"))
    assert "That is enough" in told(tab, "#overview")
    tab.page.locator("#restore").focus()
    tab.page.keyboard.press("Enter")
    tab.page.locator("#result").wait_for()
    assert tab.page.evaluate("document.activeElement.id") == "result"
    with tab.page.expect_download() as download:
        tab.page.get_by_role("button", name="Save the lines as text").click()
    saved = Path(download.value.path()).read_text()
    assert saved.startswith("# typed lines\n")
    assert tab.run(RESTORE, {"texts": [saved]})["outcome"] == "ok"
    tab.page.locator("#forget").click()
    assert tab.page.locator("#lines").input_value() == ""
    assert not tab.page.locator("#result").is_visible()


@needs_chromium
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 820, 1400])
def test_it_fits_and_is_named(browser, width, scheme):
    """Nothing sticks out at three widths; every field has a name; text is told from its ground."""
    tab = Tab(browser, viewport={"width": width, "height": 800}, color_scheme=scheme)
    tab.run(RESTORE, vector("a-share-that-contradicts")[3])
    fits = "document.documentElement.scrollWidth <= window.innerWidth"
    assert tab.page.evaluate(fits)
    names = (
        "[...document.querySelectorAll('input, textarea, button')].filter((e) => "
        "!e.labels.length && !e.textContent.trim()).map((e) => e.id)"
    )
    assert tab.page.evaluate(names) == []
    colors = tab.page.evaluate(
        "['body', '.quiet', '#restore', '#camera'].map((s) => {"
        "const style = getComputedStyle(document.querySelector(s));"
        "return [style.color, style.backgroundColor]})"
    )
    ground = colors[0][1]
    for ink, paper in colors:
        assert contrast(ink, ground if paper == "rgba(0, 0, 0, 0)" else paper) >= 4.5
    tab.context.close()


def contrast(*colors):
    """The contrast of two colors (WCAG 2.2, 1.4.3)."""

    def luminance(color):
        parts = [int(part) / 255 for part in re.findall(r"\d+", color)[:3]]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    dark, light = sorted(map(luminance, colors))
    return (light + 0.05) / (dark + 0.05)


@needs_chromium
def test_it_says_when_the_computer_is_online(browser):
    """And what that means; and that it is not."""
    tab = Tab(browser)
    tab.context.set_offline(True)
    until(lambda: "sees no network" in told(tab, "#network"))
    tab.context.set_offline(False)
    until(lambda: "connected to a network" in told(tab, "#network"))
    tab.context.close()


def film(pdf, target):
    """The symbols of sheets before a camera of 720p: moved, turned, each third frame blurred."""
    import zxingcpp  # noqa: PLC0415 - only to know where the symbols are

    choose, grain = random.Random(2), np.random.default_rng(2).normal(0, 6, (720, 1280, 1))
    with target.open("wb") as stream:
        for page in pypdfium2.PdfDocument(pdf):
            sheet = page.render(scale=220 / 72).to_pil().convert("RGB")
            for symbol in zxingcpp.read_barcodes(sheet):
                first, last = symbol.position.top_left, symbol.position.bottom_right
                x, y, side = (first.x + last.x) / 2, (first.y + last.y) / 2, last.x - first.x
                for at in range(6):
                    frame = held_up(sheet, (x, y), side * (1.9 - 0.06 * at), choose)
                    if at % 3 == 0:
                        frame = frame.filter(ImageFilter.GaussianBlur(4))
                    noisy = np.asarray(frame) * 0.8 + 20 + grain
                    Image.fromarray(noisy.clip(0, 255).astype(np.uint8)).save(stream, "JPEG")


def held_up(sheet, middle, height, choose):
    """So much of a sheet's height, near *middle* and a little turned, as a frame of 720p."""
    x, y = (at + height * choose.uniform(-0.03, 0.03) for at in middle)
    around = [int(at) for at in (x - 1.2 * height, y - height, x + 1.2 * height, y + height)]
    turned = sheet.crop(around).rotate(choose.uniform(-7, 7), Image.Resampling.BILINEAR)
    box = (height * (1.2 - 8 / 9), height / 2, height * (1.2 + 8 / 9), height * 1.5)
    return turned.resize((1280, 720), Image.Resampling.BILINEAR, box=box)


@needs_chromium
def test_the_camera(playwright, desk, tmp_path):
    """Symbols fill in as the sheet is shown, it stops by itself, and the key is there."""
    film(desk.read("compact.pdf"), tmp_path / "film.mjpeg")
    flags = (
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-video-capture={tmp_path / 'film.mjpeg'}",
    )
    with chromium(playwright, *flags) as started:
        tab = Tab(started)
        start = time.monotonic()
        tab.page.locator("#camera").click()
        until(lambda: "the camera is off" in told(tab, "#about-camera"))
        print(f"\nthe camera took {time.monotonic() - start:.1f} s")
        assert "That is enough" in told(tab, "#overview")
        tab.page.locator("#certificate").set_input_files(CERTIFICATE)
        tab.page.locator("#passphrase").fill(PASSPHRASE)
        tab.page.locator("#restore").click()
        tab.page.locator("#result").wait_for()
        assert tab.saved()[1] == key_file(KEY)
        assert tab.complaints == []


@needs_chromium
def test_without_a_camera(browser):
    """It is said, and nothing breaks."""
    tab = Tab(browser)
    tab.page.locator("#camera").click()
    until(lambda: "There is no camera for this page" in told(tab, "#about-camera"))
    tab.context.close()
