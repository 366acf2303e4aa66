"""The main job through the command line: onto paper and back, from every kind of source."""

import json
import random
import stat

import pypdfium2
import pytest
from desks import CERTIFICATE, CORPUS, KEY, SMALL, SMALL_CERTIFICATE, Desk

from paperkey_alt.cli.group import COMMANDS
from paperkey_alt.keys.openpgp import key_file, packets
from paperkey_alt.keys.openpgp.key import Key


def pages(printed, folder, dpi):
    """The printed sheets as pictures in a folder."""
    document = pypdfium2.PdfDocument(printed.folder / "s.pdf")
    names = [f"page-{at}.png" for at in range(len(document))]
    for page, name in zip(document, names, strict=True):
        page.render(scale=dpi / 72, grayscale=True).to_pil().save(folder / name)
    return names


def lines(printed):
    """The rows of the text file that are lines."""
    return [row for row in printed.read("s.txt").decode().splitlines() if not row.startswith("#")]


def test_what_is_said_of_a_print(printed):
    """Size, set mark, what may be lost, the first caution, and what to do next."""
    assert "2 sheets, set mark" in printed.said
    assert "184 data and 46 spare lines; any 46 lines may be lost" in printed.said
    assert "keep sheet and passphrase apart" in printed.said
    assert "ragleaf check" in printed.said


@pytest.mark.parametrize("dpi", [150, 200, pytest.param(300, marks=pytest.mark.long)])
def test_from_pictures(printed, desk, dpi):
    """Two scanned pages give the key back, byte for byte."""
    names = pages(printed, desk.folder, dpi)
    desk.ok("restore", *names[::-1], "--public", CERTIFICATE, "-o", "k.asc")
    assert desk.read("k.asc") == KEY.read_bytes()


SOURCES = {
    "text": lambda printed, _: [printed.folder / "s.txt"],
    "PDF": lambda printed, _: [printed.folder / "s.pdf"],
    "one page and text": lambda printed, desk: [
        pages(printed, desk.folder, 200)[1],
        desk.write("t", "\n".join(lines(printed)[:130])),
    ],
    "everything twice": lambda printed, _: [
        printed.folder / "s.txt",
        printed.folder / "s.pdf",
        printed.folder / "s.txt",
    ],
    "shuffled": lambda printed, desk: [
        desk.write("t", "\n".join(random.Random(1).sample(lines(printed), 231)))
    ],
    "lower case, no blanks": lambda printed, desk: [
        desk.write(
            "t",
            "\n".join(
                f"{row.split()[0]} {''.join(row.split()[1:]).lower()}" for row in lines(printed)
            ),
        )
    ],
    "no numbers": lambda printed, desk: [
        desk.write("t", "\n".join(" ".join(row.split()[1:]) for row in lines(printed)))
    ],
    "no spare lines": lambda printed, desk: [desk.write("t", "\n".join(lines(printed)[:185]))],
    "46 lines lost": lambda printed, desk: [
        desk.write("t", "\n".join(lines(printed)[:1] + lines(printed)[47:]))
    ],
}


@pytest.mark.parametrize("name", SOURCES)
def test_from_every_kind_of_source(printed, desk, name):
    """Any mix in any order gives the key back, byte for byte."""
    desk.ok("restore", *SOURCES[name](printed, desk), "--public", CERTIFICATE, "-o", "k.asc")
    assert desk.read("k.asc") == KEY.read_bytes()


def test_from_standard_input_to_standard_output(printed, desk):
    """A dash on both sides; what is said does not get into the key."""
    done = desk.ok(
        "restore", "-", "--public", CERTIFICATE, "-o", "-", stdin=printed.read("s.txt").decode()
    )
    assert done.out == KEY.read_text()


def test_binary(printed, desk):
    """Without armor on request: the packets of the key."""
    desk.ok("restore", printed.folder / "s.txt", "--public", CERTIFICATE, "--binary", "-o", "k.pgp")
    assert key_file.read(desk.read("k.pgp")) == key_file.read(KEY.read_bytes())


@pytest.mark.long
@pytest.mark.parametrize(
    "name", ["curve25519", "nist-p256", "v6-curve25519", "brainpool-p512", "rsa2048-open"]
)
def test_whole_sheets_need_no_certificate(desk, name):
    """One page in large type for the small keys, and nothing else is needed."""
    said = desk.ok(
        "backup", CORPUS / f"{name}.asc", "--whole", "-o", "s.pdf", "--allow-unprotected"
    ).err
    desk.ok("restore", "s.pdf", "-o", "k.asc")
    assert key_file.read(desk.read("k.asc")) == key_file.read((CORPUS / f"{name}.asc").read_bytes())
    if name in ("curve25519", "nist-p256"):
        assert said.startswith("1 sheet,")


def test_each_command_in_a_process_of_its_own(tmp_path):
    """Started as users start it, with nothing imported before, each command does its work."""
    passphrase = ("--passphrase-from", "pw")
    done = {
        "backup": (SMALL, "-o", "s.pdf", "--text", "s.txt"),
        "check": ("s.pdf",),
        "restore": ("s.txt", "--public", SMALL_CERTIFICATE, "-o", "k.asc"),
        "drill": ("s.pdf", "--key", SMALL),
        "register": (),
        "type": ("l.txt", "--with", "s.txt"),
        "revoke-sheet": (SMALL, "--reason", "none", *passphrase, "-o", "r.pdf"),
        "rescue": ("-o", "rescue.py"),
        "preflight": ("--key", SMALL_CERTIFICATE),
    }
    assert set(done) == set(COMMANDS)
    desk = Desk(tmp_path, forks=None)
    for command, arguments in done.items():
        ended = desk.run(command, *arguments)
        assert ended.status in ((0, 1) if command == "preflight" else (0,)), ended.err
    assert key_file.read(desk.read("k.asc")) == key_file.read(SMALL.read_bytes())


@pytest.mark.long
def test_letter_paper_and_more_spare_lines(desk):
    """Other paper, and as many spare lines as a lost sheet costs."""
    said = desk.ok(
        "backup", KEY, "-o", "s.pdf", "--text", "s.txt", "--paper", "letter", "--spare", "sheet"
    ).err
    assert "3 sheets" in said
    rows = [row for row in desk.read("s.txt").decode().splitlines() if not row.startswith("#")]
    for lost in (range(1, 97), range(97, 193), range(193, 289)):
        desk.write("t", "\n".join(row for row in rows if int(row.split()[0]) not in lost))
        desk.ok("restore", "t", "--public", CERTIFICATE, "-o", "k.asc", "--force")
        assert desk.read("k.asc") == KEY.read_bytes()


def test_large(desk):
    """Larger type on more sheets, each with its number, and as many in the register."""
    said = desk.ok("backup", KEY, "-o", "s.pdf", "--large").err
    assert "7 sheets" in said
    pages = [*pypdfium2.PdfDocument(desk.read("s.pdf"))]
    for number, page in enumerate(pages, 1):
        assert f"sheet {number} of 7" in page.get_textpage().get_text_bounded()
    assert len(pages) == 7
    assert "7 sheets" in desk.ok("register").out


def test_outputs_are_for_their_owner_alone(desk):
    """0600, and nothing half written lies beside them."""
    desk.ok("backup", SMALL, "-o", "s.pdf", "--text", "s.txt")
    assert desk.files() == ["pw", "s.pdf", "s.txt"]
    for name in ("s.pdf", "s.txt"):
        assert stat.S_IMODE((desk.folder / name).stat().st_mode) == 0o600


def test_anonymous(desk):
    """Neither sheets nor text name the owner."""
    desk.ok("backup", KEY, "-o", "s.pdf", "--text", "s.txt", "--anonymous")
    shown = "".join(
        page.get_textpage().get_text_bounded()
        for page in pypdfium2.PdfDocument(desk.folder / "s.pdf")
    )
    assert "Buoy" not in shown + desk.read("s.txt").decode()
    assert "5A2B 4966" in shown


def test_check_names_every_kind_of_line(printed, desk):
    """
    Fine, mended, wrong, missing; characters where they can be told; exit 0 as long as it would
    restore.
    """
    rows = lines(printed)
    rows[3] = rows[3][:6] + ("B" if rows[3][6] != "B" else "C") + rows[3][7:]
    rows[5] = f"   5  {rows[5][6:20]}"
    del rows[7]
    done = desk.ok("check", "--characters", desk.write("t", "\n".join(rows)))
    assert "mended       1   3" in done.out
    assert "wrong        1   5" in done.out
    assert "missing      1   7" in done.out
    assert f"line 3: character 1: read as {rows[3][6]}, corrected to" in done.out
    assert "line too short: 12 characters, expected 29" in done.out
    assert "Spare lines replaced lines 5, 7." in done.out


def test_check_says_how_many_more_are_needed(printed, desk):
    """Exit 1, the number, and which are not there."""
    done = desk.run("check", desk.write("t", "\n".join(lines(printed)[:150])))
    assert done.status == 1
    assert "35 more lines are needed (missing 150–230)" in done.out
    assert "Scan or type the named lines again" in done.err


def test_check_as_json(printed, desk):
    """Every field that docs/commands.md names."""
    rows = lines(printed)
    rows[3] = rows[3][:6] + "?" + rows[3][7:]
    rows[9] = f"   9  {'A' * 29}"
    value = json.loads(
        desk.ok("check", "--json", "--characters", desk.write("t", "\n".join(rows))).out
    )
    (one,) = value["sets"]
    assert value["restorable"] is one["restorable"] is True
    assert (one["data_lines"], one["spare_lines"], one["needed"], one["problem"], one["share"]) == (
        184,
        46,
        0,
        None,
        None,
    )
    third, ninth = one["lines"][2], one["lines"][8]
    assert (third["number"], third["status"], third["characters"][0]["column"]) == (3, "mended", 1)
    assert third["characters"][0]["was"] == "?"
    assert ninth["status"] == "wrong"
    assert all(set(place) == {"column"} for place in ninth["characters"])


def test_check_shows_no_secret(printed, desk):
    """Of no line more than the mended characters is shown, in words or as JSON."""
    rows = lines(printed)
    rows[5] = rows[5][:6] + "????" + rows[5][10:]
    rows[9] = f"   9  {'A' * 29}"
    name = desk.write("t", "\n".join(rows))
    for arguments in (("check", name), ("check", "--json", name)):
        done = desk.ok(*arguments)
        for row in lines(printed)[1:]:
            assert not any(part in done.out + done.err for part in row.split()[1:])


def test_a_newer_certificate_is_welcome(printed, desk):
    """A certificate with another user ID since is kept as it is, with the secrets in."""
    (certificate,) = key_file.read(CERTIFICATE.read_bytes())
    at = next(at for at, packet in enumerate(certificate.packets) if packet.tag == 13)
    other = packets.with_body(13, b"Saltmarrow Buoy Keepers, new pier", certificate.packets[at])
    newer = Key((*certificate.packets[: at + 2], other, *certificate.packets[at + 2 :]))
    desk.write("newer.asc", key_file.write(newer, armored=True))
    desk.ok("restore", printed.folder / "s.txt", "--public", "newer.asc", "-o", "k.asc")
    (restored,) = key_file.read(desk.read("k.asc"))
    assert "Saltmarrow Buoy Keepers, new pier" in restored.user_ids
    assert [part.secret for part in restored.key_packets] == [
        part.secret for part in key_file.read(KEY.read_bytes())[0].key_packets
    ]
