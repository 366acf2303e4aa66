"""
Text from programs for reading text: lines are found among what else stands there, and none is made
up.
"""

import random
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from paperkey_alt.errors import PaperError
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import group
from paperkey_alt.format.recover import Status, recover
from paperkey_alt.reading.text import typed

BODY = random.Random(8).randbytes(292)
SET = lay_out(BODY, 5)
EVERY = [SET.head_line, *SET.lines]
HEAD = f"0 {group(SET.head_line)}"


def row(number):
    """A row as printed."""
    return f"{number} {group(EVERY[number])}"


def broken(number, *cuts):
    """A row as printed, broken after so many characters of its groups."""
    text = group(EVERY[number])
    rows = (text[at:end] for at, end in pairwise((0, *cuts, len(text))))
    return f"{number} " + "\n".join(rows)


FURNITURE = """a Secret part of an OpenPGP key DXUQU a
Saltmarrow Buoy Keepers set enark
5A2B 5A2B 5A2B 5A2B 5A2B 5A2B 5A2B 5A2B 5A2B 5A2B 2026-11-25 - sheet lof 1
ma: Aerighe a 40] ta pE eae
To restore, scan this sheet, or type its lines: each number, then its characters. 29 of them \
make a line of 15 bytes
Whoever holds 1 of these sheets and the passphrase has the key. Keep 2 places, and 3 keepers \
for them
"""

# What became of lines 7 and 8, the words around included.
PIECES = {
    "columns side by side": f"{row(7)}  {row(8)}",
    "columns, and noise behind": f"{row(7)} {row(8)} Coe ey br: [a]",
    "noise behind": f"{row(7)} oe Meee pranita\n{row(8)} - Plan ite",
    "noise before": f"pal F. {row(7)}\n[a] {row(8)}",
    "joined without a blank row": f"{row(7)} {row(8)} {row(9)}",
    "broken in the middle": f"{broken(7, 20)}\n{broken(8, 9)}",
    "broken in three": f"{broken(7, 10, 20)}\n{row(8)}",
    "blanks lost": f"7 {EVERY[7][:12]} {EVERY[7][12:]} 8 {EVERY[8]}",
    "blanks added": f"7 {' '.join(EVERY[7])} 8 {group(EVERY[8])}",
    "blank behind the number lost": f"7{group(EVERY[7])} 8{group(EVERY[8])} eae",
    "numbers with marks": f"{row(7).replace('7 ', '7] ', 1)} ft {row(8).replace('8 ', '8) ', 1)}",
    "a number lost": f"{group(EVERY[7])} re fae\n{group(EVERY[8])} pl. ot",
    "a character of another alphabet": f"7 {group('¥' + EVERY[7][1:])} {row(8)} aa",
    "a character doubled": f"7 {group(EVERY[7])[:6]}{group(EVERY[7])[5:]} {row(8)} aa",
    "small letters": f"{row(7)} {row(8)}".lower(),
}


@pytest.mark.parametrize("name", PIECES)
def test_lines_are_found_in_pieces(name):
    """Both lines are read, whatever stands around them."""
    text = f"{FURNITURE}{HEAD} headline - data lines 1 to 20\n{PIECES[name]}\n"
    (found,) = recover(typed.read(text, "ocr")).sets
    assert {line.number for line in found.lines if line.status in (Status.FINE, Status.MENDED)} >= {
        7,
        8,
    }


@pytest.mark.parametrize(
    "text", ["", FURNITURE, FURNITURE.upper(), FURNITURE.replace("\n", " ")], ids=range(4)
)
def test_words_around_the_lines_are_no_lines(text):
    """
    A sheet restores between them, and they name nothing wrong but what stands in the list of what
    was not used.
    """
    whole = f"{text}\n" + "\n".join(row(number) for number in range(len(EVERY))) + f"\n{text}"
    (found,) = recover(typed.read(whole, "ocr")).sets
    assert {line.status for line in found.lines} == {Status.FINE}


def test_rows_that_begin_like_lines_are_named():
    """What cannot be pieced together is wrong at its line, and the row is told."""
    text = f"{HEAD}\n7 {group(EVERY[7])[:15]}\n8 {group(EVERY[8])[:15]}\n"
    (found,) = recover(typed.read(text, "ocr")).sets
    assert [
        (line.number, line.status, str(line.places[0])) for line in found.lines if line.places
    ] == [
        (7, Status.WRONG, "ocr, row 2"),
        (8, Status.WRONG, "ocr, row 3"),
    ]


LOOK_ALIKES = {
    "O": "0",
    "I": "1",
    "B": "8",
    "S": "5",
    "5": "S",
    "Z": "2",
    "2": "Z",
    "Y": "¥",
    "J": "d",
    "G": "6",
    "D": "0",
    "Q": "O",
}


def as_read(rng, columns, slips):
    """The whole set as a program for reading text might give it."""
    rows = [row(number) for number in range(len(EVERY))]
    rows = [" ".join(rows[at : at + columns]) for at in range(0, len(rows), columns)]
    text = FURNITURE + "\n".join(
        f"{one} {rng.choice(('', 'ee', 'oP Beha Kes [a]', '|', 'rig 7'))}" for one in rows
    )
    characters = list(text)
    for at, character in enumerate(characters):
        if rng.random() < slips:
            characters[at] = rng.choice((LOOK_ALIKES.get(character, character), "", character * 2))
        elif character in " \n" and rng.random() < slips:
            characters[at] = rng.choice(("", " \n", "  "))
    return "".join(characters)


GARBLED = (
    st.integers(0, 1 << 32),
    st.integers(1, 3),
    st.sampled_from([0.0, 0.005, 0.02, 0.05, 0.15]),
)


def require_no_other_body(seed, columns, slips):
    """The body comes back or it does not; nothing else ever comes."""
    try:
        findings = recover(typed.read(as_read(random.Random(seed), columns, slips), "ocr")).sets
    except PaperError:
        return
    assert all(finding.body in (BODY, None) for finding in findings)


@settings(max_examples=30)
@given(*GARBLED)
def test_no_text_gives_another_body(seed, columns, slips):
    """However the text is garbled, the body comes back or it does not; nothing else ever comes."""
    require_no_other_body(seed, columns, slips)


@pytest.mark.long
@settings(max_examples=150)
@given(*GARBLED)
def test_no_text_of_many_gives_another_body(seed, columns, slips):
    """The same of five times as many texts."""
    require_no_other_body(seed, columns, slips)


@pytest.mark.parametrize(
    "columns", [*(pytest.param(columns, marks=pytest.mark.long) for columns in (1, 2)), 3]
)
def test_ordinary_slips_are_mended(columns):
    """With one character in two hundred misread, nine texts in ten or more give the body."""
    texts = [as_read(random.Random(seed), columns, 0.005) for seed in range(30)]
    restored = 0
    for text in texts:
        try:
            restored += any(one.body == BODY for one in recover(typed.read(text, "ocr")).sets)
        except PaperError:
            continue
    assert restored >= 27
