"""
Scans through the commands: what is said of each page, what is still needed and where, the damage
map, and no extra.
"""

import os
import stat
import sys
import threading

import pypdfium2
import pytest
from desks import CERTIFICATE, KEY, Desk
from PIL import Image
from terminals import terminal

SCALE = 200 / 72


@pytest.fixture(scope="session")
def scanned(tmp_path_factory, printed, forks):
    """The demo key's two sheets, and scans of them of 200 dpi; not to be changed."""
    made = Desk(tmp_path_factory.mktemp("scanned"), forks)
    made.write("s.pdf", printed.read("s.pdf"))
    for number, page in enumerate(pypdfium2.PdfDocument(made.read("s.pdf")), 1):
        page.render(scale=SCALE, grayscale=True).to_pil().convert("L").save(
            made.folder / f"{number}.png"
        )
    return made


@pytest.fixture
def scans(desk, scanned):
    """A desk with the demo key's two sheets and scans of them of 200 dpi."""
    desk.take(scanned)
    return desk


def blank(desk, *names):
    """Save a small page with nothing on it under these names."""
    for name in names:
        Image.new("L", (800, 1100), 255).save(desk.folder / name)


def spoil(desk, name, box):
    """Make part of a scan, in parts of its size, white."""
    with Image.open(desk.folder / name) as picture:
        wide, high = picture.size
        picture.paste(
            255, (int(box[0] * wide), int(box[1] * high), int(box[2] * wide), int(box[3] * high))
        )
        picture.save(desk.folder / name)


@pytest.mark.long
def test_symbols_and_rows_together_give_the_key(scans):
    """Symbols are gone from one sheet and rows from the other: each covers for the other."""
    spoil(scans, "1.png", (0.75, 0, 1, 1))
    spoil(scans, "2.png", (0, 0.15, 0.7, 1))
    done = scans.ok("restore", "1.png", "2.png", "--public", CERTIFICATE, "-o", "key.asc")
    assert scans.read("key.asc") == KEY.read_bytes()
    assert "1.png: printed lines 0–120" in done.err
    assert "2.png: 4 QR blocks with lines 121–" in done.err


def test_what_is_still_needed_and_where_it_stands(scans):
    """Half a sheet is gone: which lines to type, of which sheet, and how many of them would do."""
    spoil(scans, "2.png", (0, 0.1, 1, 0.43))
    done = scans.run("restore", "1.png", "2.png", "--public", CERTIFICATE, "-o", "key.asc")
    assert done.status == 1
    assert "type lines 121–" in done.err
    assert "of sheet 2, or scan again" in done.err
    assert "will do" in done.err
    assert "Printed with --large they are on sheets 4–5." in done.err
    assert "key.asc" not in scans.files()


def test_a_page_with_nothing_on_it_is_told(scans):
    """The blank page is named by its number."""
    with Image.open(scans.folder / "1.png") as first:
        first.save(
            scans.folder / "both.tif",
            save_all=True,
            append_images=[Image.new("L", first.size, 255)],
        )
    assert "both.tif: page 2: no lines found on this page" in scans.run("check", "both.tif").err


VEILS = pytest.mark.parametrize(
    "veil",
    [(), ("--veil",)],
    ids=["open", "veiled"],
)


@pytest.mark.long
@VEILS
def test_the_map_is_written_for_its_owner_alone(scans, veil):
    """A PDF with a page for each scan, 0600, never over another file but with --force."""
    blank(scans, "2.png")
    assert scans.run("check", "1.png", "2.png", "--map", "map.pdf", *veil).status == 1
    path = scans.folder / "map.pdf"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert len(pypdfium2.PdfDocument(path.read_bytes())) == 2
    assert scans.run("check", "1.png", "--map", "map.pdf", *veil).status == 2
    assert len(pypdfium2.PdfDocument(path.read_bytes())) == 2
    scans.run("check", "2.png", "--map", "map.pdf", "--force", *veil)
    assert len(pypdfium2.PdfDocument(path.read_bytes())) == 1


@pytest.mark.long
@VEILS
def test_the_map_of_both_sheets(scans, veil):
    """Two sheets that restore make a map of two pages, and again with --force."""
    scans.ok("check", "1.png", "2.png", "--map", "map.pdf", *veil)
    path = scans.folder / "map.pdf"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert len(pypdfium2.PdfDocument(path.read_bytes())) == 2
    assert scans.run("check", "1.png", "--map", "map.pdf", *veil).status == 2
    assert scans.run("check", "1.png", "2.png", "--map", "map.pdf", "--force", *veil).status == 0


@pytest.mark.parametrize("end", [0.6, pytest.param(0.9, marks=pytest.mark.long)])
def test_a_map_is_drawn_of_sheets_that_do_not_restore(scans, end):
    """It is wanted most then, also where neither a symbol nor a row is left."""
    spoil(scans, "1.png", (0, 0.1, 1, end))
    assert scans.run("check", "1.png", "--map", "map.png").status == 1
    with Image.open(scans.folder / "map.png") as drawn:
        assert drawn.format == "PNG"


WRONG_USE = {
    "two pages in a PNG": ("blank.png", "empty.png", "--map", "map.png"),
    "standard input": ("blank.png", "-", "--map", "map.pdf"),
    "a text only": ("pw", "--map", "map.pdf"),
    "a veil and no map": ("blank.png", "--veil"),
    "a folder that is not there": ("blank.png", "--map", "nowhere/map.pdf"),
}


@pytest.mark.parametrize("name", WRONG_USE)
def test_wrong_use(desk, name):
    """Exit 2, and nothing is written."""
    blank(desk, "blank.png", "empty.png")
    assert desk.run("check", *WRONG_USE[name]).status == 2
    assert not [file for file in desk.files() if file.startswith("map")]


def test_a_map_takes_lines_of_a_pipe_and_pictures_of_files(scans, printed):
    """
    Nothing is taken out of a pipe before it is read. Its lines count; a map over a picture that it
    gave is refused, for it gives no picture twice.
    """
    pipe = scans.folder / "pipe"
    os.mkfifo(pipe)
    spoil(scans, "2.png", (0, 0, 1, 1))
    for content, status in ((printed.read("s.txt"), 0), (scans.read("1.png"), 2)):
        giver = threading.Thread(target=pipe.write_bytes, args=(content,))
        giver.start()
        done = scans.run("check", "2.png", "pipe", "--map", "map.pdf", "--force")
        giver.join()
        assert done.status == status
    assert "by a pipe" in done.err
    assert scans.run("check", "pipe", "--map", "map.pdf", "--force").status == 2


def test_what_makes_no_map_is_refused_before_the_work(desk):
    """Two pictures and a PNG to hold both: nothing has been read when that is said."""
    blank(desk, "blank.png", "empty.png")
    done = desk.run("check", *WRONG_USE["two pages in a PNG"])
    assert "2 pictures make 2 maps" in done.err
    assert "blank.png:" not in done.err


def without(library):
    """The command on a machine that lacks this library."""
    without_it = f"import sys; sys.modules[{library!r}] = None"
    return (sys.executable, "-c", f"{without_it}; from paperkey_alt.cli.group import main; main()")


@pytest.mark.parametrize("library", ["PIL", "numpy", "pypdfium2", "zxingcpp"])
def test_without_the_extra(desk, library):
    """One sentence names what is missing and how to get it, as soon as it is needed."""
    blank(desk, "blank.png")
    done = desk.run("check", "blank.png", command=without(library))
    assert done.status == 2
    assert done.err.startswith(f"ragleaf: reading pictures needs the library {library}")
    assert "ragleaf[scan]" in done.err


def test_legible_symbols_need_no_numpy(scans):
    """What reads rows is not loaded where there are none to be read."""
    assert scans.run("check", "s.pdf", command=without("numpy")).status == 0


def test_a_progress_bar_on_long_reading(scans):
    """On a terminal, where there are several pages; none for a single one, and none in a pipe."""
    with terminal(scans, "check", "s.pdf") as (send, process):
        shown = send("", "digest")
        assert "Reading" in shown
        assert "100%" in shown
        assert process.wait(20) == 0
    with terminal(scans, "check", "1.png") as (send, process):
        assert "Reading" not in send("", "not complete")
    assert "Reading" not in scans.ok("check", "s.pdf").err
