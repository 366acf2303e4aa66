"""ASCII armor, both ways, and armor that is damaged."""

import base64

import pysequoia
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples import NAMES, binary, file

from paperkey_alt.errors import DamagedKeyFile
from paperkey_alt.keys.openpgp.armor import ArmorBlock, ArmorKind, armor, crc24, dearmor

DATA = bytes(range(100))
TEXT = armor(DATA, kind=ArmorKind.SIGNATURE, checksum=True)
ROWS = TEXT.splitlines()
BARE = armor(DATA, kind=ArmorKind.SIGNATURE, checksum=False)

# RFC 9580 §6.1 has no check value; these two are from memory of the catalogue of parametrised CRC
# algorithms, CRC-24/OPENPGP.
CRC24 = {b"123456789": 0x21CF02, b"": 0xB704CE}


@pytest.mark.parametrize("data", CRC24)
def test_crc24(data):
    """The check value of the catalogue; of nothing, the initial value of RFC 9580 §6.1."""
    assert crc24(data) == CRC24[data]


@given(st.binary(min_size=1, max_size=300), st.sampled_from(ArmorKind), st.booleans())
def test_both_ways(data, kind, checksum):
    """Every block comes back from its armor, with and without checksum."""
    text = armor(data, kind=kind, checksum=checksum)
    assert dearmor(text.encode()) == [ArmorBlock(kind, data, 1)]
    assert max(map(len, text.splitlines())) <= 76  # RFC 9580 §6
    assert ("\n=" in text) is checksum


@pytest.mark.parametrize("name", NAMES)
def test_armor_of_other_programs(name):
    """The armor that three libraries write is read as the standard library's base64 reads it."""
    for suffix, kind in ((".asc", ArmorKind.PRIVATE_KEY), (".cert.asc", ArmorKind.PUBLIC_KEY)):
        assert dearmor(file(name + suffix)) == [ArmorBlock(kind, binary(name + suffix), 1)]


@pytest.mark.parametrize("checksum", [True, False])
def test_other_programs_read_ours(checksum):
    """A library that is not ours finds in our armor the certificate that we put there."""
    data = binary("nist-p256.cert.asc")
    text = armor(data, kind=ArmorKind.PUBLIC_KEY, checksum=checksum)
    assert bytes(pysequoia.Cert.from_bytes(text.encode())) == bytes(pysequoia.Cert.from_bytes(data))


LENIENT = {
    "rows that end in CR LF": TEXT.replace("\n", "\r\n"),
    "rows that end in CR": TEXT.replace("\n", "\r"),
    "no line end behind the last row": TEXT.rstrip("\n"),
    "blanks behind every row": TEXT.replace("\n", " \t \n"),
    "blanks before every row": "".join(f"  {row}\n" for row in ROWS),
    "headers": TEXT.replace("\n\n", "\nVersion: 1\nComment: Harbour office: key\nHash:\n\n", 1),
    "no empty row before the data": TEXT.replace("\n\n", "\n", 1),
    "headers and no empty row": TEXT.replace("\n\n", "\nComment: Saltmarrow\n", 1),
    "empty rows between the data": TEXT.replace("\n", "\n\n"),
    "an empty row with blanks in it": TEXT.replace("\n\n", "\n \t\n", 1),
    "text before and behind": f"Dear keepers,\nthe key:\n{TEXT}\nYours, Älfheim\n",
    "no checksum": BARE,
    "a signed text before it": (
        f"-----BEGIN PGP SIGNED MESSAGE-----\nHash: SHA256\n\nNotice 7\n- -----BEGIN\n{TEXT}"
    ),
}


@pytest.mark.parametrize("name", LENIENT)
def test_leniency(name):
    """What the module promises to forgive changes nothing of what is read."""
    assert [block.data for block in dearmor(LENIENT[name].encode())] == [DATA]


def test_several_blocks():
    """Blocks are told apart, each with its kind and the row in which it begins."""
    second = armor(b"second", kind=ArmorKind.PUBLIC_KEY, checksum=True)
    assert dearmor(f"{TEXT}between\n{second}".encode()) == [
        ArmorBlock(ArmorKind.SIGNATURE, DATA, 1),
        ArmorBlock(ArmorKind.PUBLIC_KEY, b"second", len(ROWS) + 2),
    ]


@pytest.mark.parametrize(
    "text",
    [b"", b"\n", b"no armor", b"-----BEGIN PGP", b"-----BEGIN CERTIFICATE-----", b"\xff\xfe\0"],
)
def test_no_armor(text):
    """Text without armor has no blocks, and is no error here."""
    assert dearmor(text) == []


def row(at, content):
    """The armor with other content in the row at index *at*."""
    return "\n".join([*ROWS[:at], *content, *ROWS[at + 1 :], ""])


DAMAGED = {
    "no END row": ("\n".join(ROWS[:-1]), 6, "no END row"),
    "cut within a row": (TEXT[:90], 3, "no END row"),
    "another END row": (
        TEXT.replace("END PGP SIGNATURE", "END PGP MESSAGE"),
        7,
        "does not end as it began",
    ),
    "an END row with a wrong letter": (
        TEXT.replace("END PGP SIGNATURE", "END PGP SIGNATVRE"),
        7,
        "does not end as it began",
    ),
    "a second BEGIN row within": (row(3, [ROWS[0]]), 4, "does not end as it began"),
    "a kind that is none": (TEXT.replace("PGP SIGNATURE", "PGP NOTICE"), 1, "no kind of armor"),
    "nothing within": ("\n".join([*ROWS[:2], ROWS[-1]]), 3, "empty"),
    "a checksum alone": ("\n".join([*ROWS[:2], ROWS[-2], ROWS[-1]]), 4, "empty"),
    "a character that is not base64": (row(3, ["!" + ROWS[3][1:]]), 4, "not base64"),
    "a blank within a row": (row(2, [ROWS[2][:9] + " " + ROWS[2][10:]]), 3, "not base64"),
    "a letter of another script": (row(2, [ROWS[2][:9] + "é" + ROWS[2][10:]]), 3, "not base64"),
    "an equals sign within a row": (row(2, [ROWS[2][:9] + "=" + ROWS[2][10:]]), 3, "not base64"),
    "padding in an earlier row": (row(2, [ROWS[2][:62] + "=="]), 3, "before its last row"),
    "a character missing": (row(2, [ROWS[2][1:]]), 3, "missing"),
    "a character missing in the last row": (row(4, [ROWS[4][1:]]), 5, "missing"),
    "padding missing": (row(4, [ROWS[4].rstrip("=")]), 5, "missing"),
    "a character too many": (row(3, ["A" + ROWS[3]]), 4, "surplus"),
    "too much padding": (row(4, ["=" * 8]), 5, "last row"),
    "padding in the place of bits": (row(4, ["Y==="]), 5, "last row"),
    "a wrong character": (row(3, ["AB" + ROWS[3][2:]]), 6, "checksum"),
    "two rows changed over": (
        row(2, [ROWS[3], ROWS[2]]).replace(f"{ROWS[2]}\n{ROWS[3]}", ROWS[2], 1),
        6,
        "checksum",
    ),
    "a row missing": (row(3, []), 5, "checksum"),
    "a row twice": (row(3, [ROWS[3], ROWS[3]]), 7, "checksum"),
    "a wrong checksum": (row(5, ["=AAAA"]), 6, "checksum"),
    "bits behind the last byte": (BARE.replace("Yw==", "Yx=="), 5, "last row"),
}


@pytest.mark.parametrize("name", DAMAGED)
def test_damage_is_named_with_its_row(name):
    """Each kind of damage is refused and its row told."""
    text, place, words = DAMAGED[name]
    assert text not in (TEXT, BARE)
    with pytest.raises(DamagedKeyFile, match=words) as caught:
        dearmor(text.encode())
    assert caught.value.place.row == place


def test_the_column_of_a_character_that_is_not_base64():
    """Where one character is at fault, its column is told as well."""
    with pytest.raises(DamagedKeyFile) as caught:
        dearmor(DAMAGED["a blank within a row"][0].encode())
    assert caught.value.place.column == 10


@given(st.integers(0, len(ROWS) - 1), st.data())
def test_one_wrong_character_never_passes(at, draw):
    """With a checksum, no single other letter in the data gives another content."""
    rows = list(ROWS)
    column = draw.draw(st.integers(0, max(0, len(rows[at]) - 1)))
    rows[at] = (
        rows[at][:column] + draw.draw(st.sampled_from("ABMyz059+/=-\t")) + rows[at][column + 1 :]
    )
    try:
        blocks = dearmor("\n".join(rows).encode())
    except DamagedKeyFile:
        return
    assert [block.data for block in blocks] in ([], [DATA])


def test_base64_of_the_standard_library():
    """The rows are those of RFC 4648 base64."""
    assert base64.b64decode("".join(BARE.splitlines()[2:-1])) == DATA
