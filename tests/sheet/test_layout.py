"""The geometry of a sheet: everything has its place, and nothing stands in another's."""

from itertools import combinations, pairwise

import pytest

from paperkey_alt.format.spare_lines import groups
from paperkey_alt.sheet import layout, qr
from paperkey_alt.sheet.layout import MM, PAPERS, plan, presets

TOTALS = (
    1,
    11,
    22,
    24,
    25,
    36,
    37,
    44,
    48,
    49,
    53,
    55,
    56,
    57,
    58,
    64,
    65,
    100,
    120,
    121,
    230,
    241,
    1023,
)


def boxes(made, sheet):
    """
    Boxes (left, top, right, bottom) of all that stands on a sheet, by name; QR symbols with their
    quiet zone of 4 modules.
    """
    preset, paper = made.preset, made.paper
    size, width = preset.type_size, layout.row_width(preset)
    # The capital letters of Courier reach 0.6 of the type size above the baseline: Adobe's metrics
    # for the font (CapHeight 562).
    rows = {
        f"row {row.number}": (row.x, row.baseline - 0.6 * size, row.x + width, row.baseline)
        for row in (sheet.head, *sheet.rows)
    }
    foot = sheet.foot
    rows["row 0 at the foot"] = (foot.x, foot.baseline - 0.6 * size, foot.x + width, foot.baseline)
    quiet = 4 * preset.symbol / layout.fewest_modules(paper, preset)
    symbols = {
        f"block {block.first}": (
            block.x - quiet,
            block.y,
            block.x + preset.symbol,
            block.y + preset.symbol,
        )
        for block in sheet.blocks
    }
    marks = {
        f"mark {at}": (x, y, x + layout.CORNER_MARK, y + layout.CORNER_MARK)
        for at, (x, y) in enumerate(layout.corner_marks(paper))
    }
    left, right = layout.MARGIN, paper.width - layout.MARGIN
    bottom = paper.height - layout.FOOT_WORDS
    top_of_foot = paper.height - layout.MARGIN_ENDS - layout.FOOT_HEIGHT + 3
    words = {
        "head": (left, layout.MARGIN_ENDS, right, layout.MARGIN_ENDS + 49),
        "foot": (left, top_of_foot, right, bottom),
    }
    return rows | symbols | marks | words


def overlap(one, other):
    """Whether two boxes share more than an edge."""
    return (
        one[0] < other[2] - 0.01
        and other[0] < one[2] - 0.01
        and one[1] < other[3] - 0.01
        and other[1] < one[3] - 0.01
    )


@pytest.mark.parametrize("paper", PAPERS.values(), ids=lambda paper: paper.name)
@pytest.mark.parametrize("total", TOTALS)
def test_nothing_overlaps_and_all_is_on_the_paper(total, paper):
    """
    Rows, symbols, marks, head and foot keep clear of each other, and 8 mm from the edge of the
    paper.
    """
    made = plan(total, paper)
    for sheet in made.sheets:
        placed = boxes(made, sheet)
        assert [
            pair for pair in combinations(placed, 2) if overlap(placed[pair[0]], placed[pair[1]])
        ] == []
        for box in placed.values():
            assert min(box[0], box[1], paper.width - box[2], paper.height - box[3]) >= 8 * MM - 0.01


@pytest.mark.parametrize("paper", PAPERS.values(), ids=lambda paper: paper.name)
def test_symbols_keep_their_quiet_zone_from_each_other(paper):
    """
    Four modules between two symbols, as ISO/IEC 18004 asks for on each side, and no full band needs
    more of them.
    """
    for preset in presets(paper):
        gap, fewest = (
            layout.band_height(paper, preset) - preset.symbol,
            layout.fewest_modules(paper, preset),
        )
        assert gap >= 4 * preset.symbol / fewest
        assert fewest <= len(
            qr.symbol(qr.encode_block("B" * 29, 1, ["K" * 29] * preset.lines_a_band))
        )


@pytest.mark.parametrize("paper", PAPERS.values(), ids=lambda paper: paper.name)
@pytest.mark.parametrize("total", TOTALS)
def test_every_line_stands_once_and_beside_its_symbol(total, paper):
    """All lines in order, each in exactly one symbol, which stands at its height."""
    made = plan(total, paper)
    rows = [row for sheet in made.sheets for row in sheet.rows]
    assert [row.number for row in rows] == list(range(1, total + 1))
    for sheet in made.sheets:
        assert sheet.head.number == sheet.foot.number == 0
        assert sheet.head.baseline < sheet.rows[0].baseline
        assert sheet.foot.baseline > sheet.rows[-1].baseline
        for row in sheet.rows:
            (block,) = [block for block in sheet.blocks if block.first <= row.number <= block.last]
            away = abs(row.baseline - (block.y + made.preset.symbol / 2))
            assert away <= layout.band_height(paper, made.preset) / 2


@pytest.mark.parametrize("paper", PAPERS.values(), ids=lambda paper: paper.name)
def test_the_figures_of_the_usual_keys(paper):
    """
    An RSA-4096 key with a subkey is two pages, lean; its compact form and an ECC key whole are one
    page in large type.
    """
    assert len(plan(230, paper).sheets) == 2
    for total in (44, 53, 62):
        made = plan(total, paper)
        assert len(made.sheets) == 1
        assert made.preset.type_size >= 9.4
    assert plan(48, paper).preset.type_size >= 10


def test_the_largest_type_that_needs_no_more_sheets():
    """Dense type only where it saves a sheet."""
    for total in TOTALS:
        made = plan(total, PAPERS["a4"])
        sheets = {preset: -(-total // preset.lines_a_page) for preset in presets(PAPERS["a4"])}
        assert len(made.sheets) == min(sheets.values())
        assert all(
            sheets[preset] > len(made.sheets)
            for preset in presets(PAPERS["a4"])
            if preset.type_size > made.preset.type_size
        )


@pytest.mark.long
@pytest.mark.parametrize("data", [1, 20, 42, 100, 184, 300, 301, 600])
def test_spare_lines_for_a_lost_sheet(data):
    """
    With so many spare lines the fullest sheet may be lost, in every group of lines; with one line
    less it may not.
    """
    for paper in PAPERS.values():
        spare = layout.spare_for_a_sheet(data, paper)
        assert survives_a_lost_sheet(data, spare, paper)
        assert not survives_a_lost_sheet(data, spare - 1, paper)


def survives_a_lost_sheet(data, spare, paper):
    """Whether each group of lines has enough spare ones, whichever sheet is lost."""
    return all(
        sum(row.number in (*ours, *spares) for row in sheet.rows) <= len(spares)
        for sheet in plan(data + spare, paper).sheets
        for ours, spares in groups(data, spare)
    )


def test_columns_follow_the_groups():
    """Six groups of four and one of five, a blank between them."""
    preset = presets(PAPERS["a4"])[-1]
    row = layout.Row(1, 100.0, 0.0)
    advance = layout.ADVANCE * preset.type_size
    places = [
        round((layout.character_x(row, column, preset) - row.x) / advance)
        for column in range(1, 30)
    ]
    assert places[:6] == [6, 7, 8, 9, 11, 12]
    assert places[-6:] == [34, 36, 37, 38, 39, 40]


@pytest.mark.parametrize("paper", PAPERS.values(), ids=lambda paper: paper.name)
def test_large_is_larger_and_never_smaller(paper):
    """Larger type and symbols wherever the usual sheet is not as large, on as many sheets."""
    for total in TOTALS:
        usual, large = plan(total, paper), plan(total, paper, large=True)
        assert large.preset.type_size >= max(usual.preset.type_size, 11.9)
        assert large.preset.symbol >= max(53 * MM, usual.preset.symbol) - 0.01
        assert [row.number for sheet in large.sheets for row in sheet.rows] == [
            *range(1, total + 1)
        ]
        assert set(layout.plans(total, paper)) == {usual, large}
        assert layout.plans(total, paper)[0] == usual


@pytest.mark.parametrize("paper", PAPERS.values(), ids=lambda paper: paper.name)
def test_the_page_is_used(paper):
    """
    The lines of a compact RSA-4096 key fill most of the height that there is, in one column of 13
    points, with symbols of 60 mm.
    """
    made = plan(22, paper)
    assert (len(made.sheets), made.preset.columns) == (1, 1)
    assert made.preset.type_size >= 13
    assert made.preset.symbol == pytest.approx(60 * MM)
    (sheet,) = made.sheets
    height = paper.height - 2 * layout.MARGIN_ENDS - layout.HEAD_HEIGHT - layout.FOOT_HEIGHT
    assert sheet.rows[-1].baseline - sheet.rows[0].baseline > 0.75 * height


@pytest.mark.parametrize("paper", PAPERS.values(), ids=lambda paper: paper.name)
def test_two_columns_have_gaps_that_an_eye_can_follow(paper):
    """After every five rows, by almost half a row, in both columns at the same height."""
    for preset in presets(paper)[-2:]:
        rows = layout.sheet(1, preset.lines_a_band, paper, preset).rows
        left, right = rows[: preset.rows], rows[preset.rows :]
        assert [row.baseline for row in left] == [row.baseline for row in right]
        steps = [after.baseline - before.baseline for before, after in pairwise(left)]
        wide = [at for at, step in enumerate(steps, 1) if step > 1.4 * min(steps)]
        assert wide == [*range(5, preset.rows, 5)]
