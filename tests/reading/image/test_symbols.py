"""QR symbols: found anywhere on a picture, read with more effort, or at the places they must be."""

from functools import cache

import numpy as np
import pytest
import segno
from pictures import LENGTHS, block_box, plan, printed, rendered, scanned
from PIL import Image, ImageDraw, ImageFilter

from paperkey_alt.reading.image import preparation, symbols
from paperkey_alt.sheet import layout, qr

DPI = 150


def the_set():
    """A set, and its sheet."""
    return printed(LENGTHS[9.6])


@cache
def the_plan():
    """Where everything is on the sheet."""
    return plan(the_set()[0])


def the_blocks():
    """Its symbols."""
    return the_plan().sheets[0].blocks


def lines_of(block):
    """What the symbol of a block says."""
    run = the_set()[0].lines[block.first - 1 : block.last]
    return ((0, the_set()[0].head_line), *enumerate(run, block.first))


def corners(block, dpi=DPI):
    """Where a symbol is, clockwise from the upper left."""
    left, top, right, bottom = block_box(the_plan(), block, dpi)
    return np.array([(left, top), (right, top), (right, bottom), (left, bottom)], float)


def modules(block):
    """How many modules a side its symbol has."""
    fewest = layout.fewest_modules(the_plan().paper, the_plan().preset)
    return symbols.modules(block.first, block.last, fewest)


def test_the_library_calls_nothing_of_ours(monkeypatch):
    """
    While symbols are looked for no code of Python runs, in which a signal could be raised and
    hidden: a limit and an interrupt come through as what they are.
    """

    def refuse(_):
        raise AssertionError("called")

    monkeypatch.setattr(Image.Image, "__array_interface__", property(refuse), raising=False)
    assert symbols.read(rendered(the_set()[1], DPI))


def with_noise(picture, deviation, seed=1):
    """A picture with Gaussian noise."""
    return scanned(picture, seed, noise=deviation)


def test_each_block_is_read_once_and_where_it_is():
    """Every symbol of a sheet, its lines, its corners to half a millimetre, and with ease."""
    read = symbols.read(rendered(the_set()[1], DPI))
    assert {symbol.lines for symbol in read} == {lines_of(block) for block in the_blocks()}
    assert len(read) == len(the_blocks())
    for symbol in read:
        block = next(block for block in the_blocks() if block.first == symbol.first)
        assert np.abs(np.array(symbol.corners) - corners(block)).max() < 0.5 / 25.4 * DPI
        assert (symbol.at_ease, symbol.head, symbol.sheet) == (True, the_set()[0].head, 0)


@pytest.mark.parametrize("page", [0, 1])
def test_a_symbol_tells_its_sheet(page):
    """By its first line and the number of lines in its head line."""
    made, pdf = printed(LENGTHS["two sheets"])
    read = symbols.read(rendered(pdf, DPI, page))
    assert {(symbol.head, symbol.sheet) for symbol in read} == {(made.head, page)}


def test_sheets_are_covered_when_each_of_their_blocks_is_read():
    """All blocks of a sheet cover it, one less does not, and nothing covers nothing."""
    read = symbols.read(rendered(the_set()[1], DPI))
    assert symbols.cover_sheets(read)
    assert not symbols.cover_sheets(read[1:])
    assert not symbols.cover_sheets(())
    odd = symbols.Symbol(((0, "A" * 28 + "B"), *read[0].lines[1:]), read[0].corners)
    assert odd.head is None
    assert odd.sheet == 0
    assert not symbols.cover_sheets([odd])


NOTHING = {
    "white": Image.new("L", (500, 700), 255),
    "black": Image.new("L", (500, 700), 0),
    "noise": Image.fromarray(np.random.default_rng(1).integers(0, 256, (700, 500), np.uint8)),
    "as small as can be": Image.new("L", (symbols.LEAST_PIXELS, symbols.LEAST_PIXELS), 255),
}


@pytest.mark.parametrize("name", NOTHING)
def test_nothing_is_read_from_nothing(name):
    """Neither with ease nor with more effort."""
    assert symbols.read(NOTHING[name]) == ()
    assert symbols.read_harder(NOTHING[name]) == ()


def foreign():
    """A code that is none of ours, where a block might be."""
    code = segno.make("https://saltmarrow.example/tides", micro=False)
    pixels = np.array(code.matrix, np.uint8)
    side = 4 * len(pixels)
    return Image.fromarray((1 - pixels) * np.uint8(255)).resize((side, side), 0), len(pixels)


def test_a_foreign_code_is_no_block():
    """Anywhere or at a block's place: what it says is none of ours."""
    code, count = foreign()
    picture = Image.new("L", (400, 400), 255)
    picture.paste(code, (100, 100))
    side = code.width
    at = np.array([(0, 0), (side, 0), (side, side), (0, side)]) + 100.0
    assert symbols.read(picture) == ()
    assert symbols.read_harder(picture) == ()
    assert symbols.read_at(picture, at, count) is None


@pytest.mark.parametrize("turn", [30, -25, 45])
def test_a_symbol_that_is_turned_is_read(turn):
    """With more effort at the most, in any direction, and its corners are those on the picture."""
    picture = Image.new("L", (900, 900), 255)
    left, top, right, bottom = block_box(the_plan(), the_blocks()[0], DPI, room=10)
    picture.paste(rendered(the_set()[1], DPI).crop((left, top, right, bottom)), (300, 300))
    turned = picture.rotate(turn, Image.Resampling.BICUBIC, fillcolor=255)
    angle = np.radians(turn)
    back = np.array([(np.cos(angle), -np.sin(angle)), (np.sin(angle), np.cos(angle))])
    true = (corners(the_blocks()[0]) - (left, top) + 300 - 450) @ back + 450
    for read in filter(None, (symbols.read(turned), symbols.read_harder(turned))):
        assert [symbol.lines for symbol in read] == [lines_of(the_blocks()[0])]
        assert np.abs(np.array(read[0].corners) - true).max() < 4
    assert symbols.read(turned) or symbols.read_harder(turned)


def blotted(picture):
    """Each symbol with a blot of ink over some of its middle."""
    drawn = picture.copy()
    for block in the_blocks():
        x, y = corners(block).mean(axis=0)
        ImageDraw.Draw(drawn).ellipse((x - 20, y - 20, x + 20, y + 20), fill=0)
    return drawn


SPOILT = {
    "a blot": blotted,
    "slanted": lambda picture: picture.transform(
        picture.size, Image.Transform.AFFINE, (1, 0.06, 0, 0.02, 1, 0), fillcolor=255
    ),
    "noise": lambda picture: with_noise(picture, 60),
    "blur": lambda picture: picture.filter(ImageFilter.GaussianBlur(1.3)),
    "pale": lambda picture: picture.point(lambda value: 170 + value // 6),
}


@pytest.mark.parametrize("name", SPOILT)
def test_at_its_place_a_spoilt_symbol_is_read(name):
    """What its place shows is read there, and is told to have taken effort."""
    picture = SPOILT[name](rendered(the_set()[1], DPI))
    for block in the_blocks():
        at = corners(block)
        if name == "slanted":
            inverse = np.linalg.inv(np.array([(1, 0.06), (0.02, 1)]))
            at = at @ inverse.T
        symbol = symbols.read_at(picture, at, modules(block))
        assert symbol is not None
        assert (symbol.lines, symbol.at_ease) == (lines_of(block), False)
        assert np.array(symbol.corners) == pytest.approx(at)


UNREADABLE = {
    "torn off": lambda picture, box: picture.paste(255, box),
    "blacked out": lambda picture, box: picture.paste(0, box),
    "half gone": lambda picture, box: picture.paste(
        255, (box[0], box[1], box[2], (box[1] + box[3]) // 2)
    ),
    "noise": lambda picture, box: picture.paste(
        NOTHING["noise"].crop((0, 0, box[2] - box[0], box[3] - box[1])), box
    ),
}


@pytest.mark.parametrize("name", UNREADABLE)
def test_at_its_place_nothing_is_made_up(name):
    """A symbol that is gone, half gone or covered gives none."""
    picture = rendered(the_set()[1], DPI).copy()
    UNREADABLE[name](picture, block_box(the_plan(), the_blocks()[1], DPI))
    assert symbols.read_at(picture, corners(the_blocks()[1]), modules(the_blocks()[1])) is None
    assert symbols.read_at(picture, corners(the_blocks()[0]), modules(the_blocks()[0])) is not None


def version(characters):
    """Which version a symbol of level M with so many characters has."""
    return segno.make(
        "A" * characters, error="M", mode="alphanumeric", micro=False, boost_error=False, mask=0
    ).version


@pytest.mark.parametrize(
    "versions", [range(1, 21), pytest.param(range(21, 40), marks=pytest.mark.long)], ids=str
)
def test_capacities_are_those_of_the_standard(versions):
    """Of each version, a symbol of level M holds as much as the table says, and no more."""
    for at in versions:
        capacity = symbols._CAPACITIES[at - 1]
        assert (version(capacity), version(capacity + 1)) == (at, at + 1)


def test_the_largest_symbol_of_the_standard():
    """Version 40 is the last."""
    assert version(symbols._CAPACITIES[-1]) == len(symbols._CAPACITIES) == 40


@pytest.mark.parametrize("fewest", [0, 21, 66, 101])
@pytest.mark.parametrize(("first", "last"), [(1, 1), (1, 12), (97, 120), (1000, 1010)])
def test_modules_are_those_of_the_symbol_that_is_drawn(first, last, fewest):
    """Told without making a symbol, they are as many as the symbol has that is made."""
    line = "A" * 29
    text = qr.encode_block(line, first, [line] * (last - first + 1))
    assert symbols.modules(first, last, fewest) == len(qr.symbol(text, fewest))


def test_more_lines_than_any_symbol_holds():
    """An error, not a symbol."""
    with pytest.raises(ValueError, match="no QR symbol holds"):
        symbols.modules(1, 120, 0)


@pytest.mark.parametrize("size", [(1, 1), (2, 5), (40, 31)])
def test_the_median_is_that_of_nine(size):
    """The same picture as Pillow's own filter makes, to the edge and the corners."""
    pixels = np.random.default_rng(7).integers(0, 256, size[::-1], np.uint8)
    picture = Image.fromarray(pixels)
    framed = np.pad(pixels, 1, mode="edge")
    nine = [framed[y : y + size[1], x : x + size[0]] for y in range(3) for x in range(3)]
    median = np.asarray(preparation._median(picture))
    assert (median == np.median(nine, axis=0)).all()
    assert (median == np.asarray(picture.filter(ImageFilter.MedianFilter(3)))).all()
