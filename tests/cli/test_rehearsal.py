"""
Rehearsals: what `drill` and `check --prove` say of a paper beside the live file, how they end, and
what the register has then.
"""

import json
from types import SimpleNamespace

import pypdfium2
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    NoEncryption,
    PrivateFormat,
)
from desks import CORPUS, KEY, PASSPHRASE, SMALL, SMALL_CERTIFICATE
from rekeyed import exported
from samples import only, stub, with_secrets

from paperkey_alt.cli import drill_command
from paperkey_alt.errors import NotEnoughLines, Place
from paperkey_alt.format.raw_line import RawLine
from paperkey_alt.keys.openpgp import key_file, packets
from paperkey_alt.keys.openpgp.rfc9580 import PacketType
from paperkey_alt.reading.page import Page

OTHER = "high tide at noon"
SAME = "This paper gives this key back"


@pytest.fixture(scope="session")
def small(shelf):
    """A small key's lines; not to be changed."""
    return shelf("backup", SMALL, "-o", "s.pdf", "--text", "s.txt")


@pytest.fixture
def noted(desk, small):
    """A desk with a small key's lines, which the register has."""
    desk.take(small)
    return desk


def drill_of(desk):
    """How the last rehearsal ended, as the register has it of the first backup."""
    return json.loads(desk.ok("register", "--json").out)["backups"][0]["drill"]


def bare(data, secret):
    """The key file with secret parts replaced, in armor."""
    binary = key_file.write(only(data), armored=False)
    return key_file.write(only(with_secrets(binary, secret)), armored=True)


def without_subkeys(data):
    """A secret key whose subkeys have come as public ones."""
    key = only(data)
    made = []
    parts = {part.packet: part for part in key.key_packets}
    for packet in key.packets:
        if packet.tag == PacketType.SECRET_SUBKEY:
            packet = packets.with_body(  # noqa: PLW2901 - the packet in another form
                PacketType.PUBLIC_SUBKEY, parts[packet].public, like=packet
            )
        made.append(packet)
    return key_file.write(type(key)(tuple(made)), armored=True)


def test_the_same_bytes_need_no_passphrase(noted):
    """They are told as that, and none is asked for."""
    noted.write("none", "")
    done = noted.ok("drill", "s.txt", "--key", SMALL, "--passphrase-from", "none")
    assert f"{SAME}: its secret part came back byte for byte." in done.err
    assert "not needed" not in done.err
    assert drill_of(noted) == "gives the key back"


def test_a_certificate_that_is_not_on_the_paper(desk, small):
    """
    It is taken from the live file, and said to be needed; of a whole print it is not. The paper is
    not said to give more than is on it.
    """
    desk.take(small)
    said = "The public certificate came from the live file"
    assert said in desk.ok("drill", "s.txt", "--key", SMALL, "--no-register").err
    desk.ok("backup", SMALL, "--whole", "-o", "w.pdf", "--text", "w.txt", "--no-register")
    assert said not in desk.ok("drill", "w.txt", "--key", SMALL, "--no-register").err
    desk.ok(
        "backup", SMALL, "--with-certificate", "-o", "c.pdf", "--text", "c.txt", "--no-register"
    )
    assert said not in desk.ok("drill", "c.txt", "--key", SMALL, "--no-register").err
    desk.ok("restore", "s.txt", "--public", SMALL, "-o", "live.asc")
    done = desk.ok("drill", "s.txt", "--key", "live.asc", "--no-register")
    assert f"{SAME}: its secret part came back byte for byte." in done.err
    assert "whole file" not in done.err
    desk.ok("restore", "w.txt", "-o", "live.asc", "--force")
    done = desk.ok("drill", "w.txt", "--key", "live.asc", "--no-register")
    assert f"{SAME}: the whole file, byte for byte." in done.err


@pytest.mark.long
@pytest.mark.parametrize("form", ["lean", "whole", "compact", "plain"])
def test_a_key_that_was_encrypted_anew(desk, form):
    """
    Exported once more with new salts and IVs: the same key, by its numbers, with one passphrase for
    both sides. Nothing is said of a change.
    """
    flags = () if form == "lean" else (f"--{form}",)
    allow = ("--allow-unprotected",) if form == "plain" else ()
    pw = ("--passphrase-from", "pw")
    desk.ok("backup", KEY, *flags, *allow, *pw, "-o", "s.pdf", "--text", "s.txt")
    desk.write("live.asc", exported(KEY.read_bytes()))
    done = desk.ok("drill", "s.txt", "--key", "live.asc", *pw)
    assert f"{SAME}: the same key, by its secret numbers." in done.err
    assert "what opens one opens the other" in done.err
    assert "another passphrase" not in done.err
    assert drill_of(desk) == "gives the key back"


def test_another_passphrase(noted):
    """It is told where the passphrase of the paper was tried on the live key, and each is named."""
    noted.write("live.asc", exported(SMALL.read_bytes(), OTHER))
    noted.write("both", f"{PASSPHRASE}\n{OTHER}\n")
    done = noted.ok("drill", "s.txt", "--key", "live.asc", "--passphrase-from", "both")
    assert f"{SAME}: the same key under another passphrase." in done.err
    assert "destroy" not in done.err
    assert drill_of(noted) == "gives the key back"


def test_which_passphrase_is_asked_for(noted):
    """That of the paper, and that of the live key, by name."""
    noted.write("live.asc", exported(SMALL.read_bytes(), OTHER))
    noted.write("one", f"{PASSPHRASE}\n")
    done = noted.run("drill", "s.txt", "--key", "live.asc", "--passphrase-from", "one")
    assert done.status == 1
    assert "row 1 for the key on paper" in done.err or "no passphrase in one" in done.err
    assert "the live key" in done.err


def test_nobody_has_the_passphrase(noted):
    """Not compared is what is said: not that it changed, and nothing is to be destroyed for it."""
    noted.write("live.asc", exported(SMALL.read_bytes(), OTHER))
    noted.write("wrong", "slack water\n" * 3)
    for source in ((), ("--passphrase-from", "wrong")):
        done = noted.run("drill", "s.txt", "--key", "live.asc", *source)
        assert done.status == 1
        assert "was not compared, because" in done.err
        assert "cannot tell" in done.err
        for claim in ("changed", "destroy", "another passphrase", SAME):
            assert claim not in done.err
        assert drill_of(noted) is None


def test_no_passphrase_for_a_seal(desk):
    """What is under it was not compared."""
    pw = ("--passphrase-from", "pw")
    desk.ok("backup", SMALL, "--seal", *pw, "-o", "s.pdf", "--text", "s.txt")
    desk.write("wrong", "slack water\n")
    done = desk.run("drill", "s.txt", "--key", SMALL, "--passphrase-from", "wrong")
    assert done.status == 1
    assert (
        "cannot tell whether this paper gives this key back: no passphrase in wrong opens the seal"
        in done.err
    )
    assert drill_of(desk) is None


def test_a_certificate_is_nothing_to_compare_with(noted):
    """It is refused as the live key, for lack of secrets; so is a file with stubs alone."""
    noted.write("stubs.asc", bare(SMALL.read_bytes(), lambda _: stub()))
    for live in (SMALL_CERTIFICATE, "stubs.asc"):
        done = noted.run("drill", "s.txt", "--key", live)
        assert done.status == 1
        assert "the live file has no secret of the key" in done.err
        assert "byte for byte" not in done.err
        assert "a file that has every secret" in done.err
        assert drill_of(noted) is None


def test_a_live_file_with_fewer_secrets(noted):
    """What of the paper was not compared is named."""
    fewer = bare(SMALL.read_bytes(), lambda key: stub() if key.is_primary else None)
    noted.write("fewer.asc", fewer)
    done = noted.run("drill", "s.txt", "--key", "fewer.asc")
    assert done.status == 1
    primary = only(SMALL.read_bytes()).primary.title
    assert f"the secret of the {primary} is on this paper and was not compared" in done.err
    assert drill_of(noted) is None


@pytest.mark.parametrize("kind", ["stub", "public"])
def test_a_paper_that_lacks_a_secret(desk, kind):
    """
    The whole live key has more: the rehearsal failed. The same file has no more: that is said, and
    neither it nor --prove ends with 0.
    """
    whole = SMALL.read_bytes()
    subkey = only(whole).key_packets[1]
    lacking = (
        without_subkeys(whole)
        if kind == "public"
        else bare(whole, lambda key: None if key.is_primary else stub())
    )
    desk.write("lacking.asc", lacking)
    desk.ok("backup", "lacking.asc", "-o", "s.pdf", "--text", "s.txt")
    same = desk.run("drill", "s.txt", "--key", "lacking.asc")
    assert same.status == 1
    assert f"has the secret of the {subkey.title}" in same.err
    assert "that is not the whole key" in same.err
    assert drill_of(desk) is None
    done = desk.run("drill", "s.txt", "--key", SMALL)
    assert done.status == 1
    assert f"the live key has the {subkey.title}, whose secret is not on this paper" in done.err
    assert "print it anew" in done.err
    assert drill_of(desk) == "does not give the key back"
    proof = ("--prove", "--public", SMALL_CERTIFICATE, "--passphrase-from", "pw")
    done = desk.run("check", "s.txt", *proof)
    assert done.status == 1
    assert f"this paper does not have the secret of the {subkey.title}" in done.err
    assert "in full" not in done.err


def test_the_whole_paper_is_proven(noted):
    """With all secrets there, --prove ends with 0."""
    proof = ("--prove", "--public", SMALL_CERTIFICATE, "--passphrase-from", "pw")
    assert "Read back in full" in noted.ok("check", "s.txt", *proof).err


@pytest.mark.long
def test_a_number_that_is_not_of_the_key(desk):
    """A secret on paper that does not belong to the public key is told as that, and noted."""
    change = lambda clear: clear[:-1] + bytes([clear[-1] ^ 0x10])  # noqa: E731
    broken = exported(KEY.read_bytes(), change=change)
    desk.write("broken.asc", broken)
    desk.ok("backup", "broken.asc", "-o", "s.pdf", "--text", "s.txt")
    done = desk.run("drill", "s.txt", "--key", KEY, "--passphrase-from", "pw")
    assert done.status == 1
    assert "on it does not belong to its public key" in done.err
    assert "destroy" not in done.err
    assert drill_of(desk) == "does not give the key back"
    desk.ok("backup", KEY, "-o", "t.pdf", "--text", "t.txt")
    done = desk.run("drill", "t.txt", "--key", "broken.asc", "--passphrase-from", "pw")
    assert done.status == 1
    assert "the fault is in the live file" in done.err


def test_too_few_shares_say_nothing_of_the_paper(desk):
    """
    A rehearsal that was good stays noted, also where a share was given in part; a share that is
    damaged is noted as that.
    """
    desk.ok("backup", SMALL, "--any", "2", "--of", "2", "-o", "s", "--text", "t")
    desk.ok("drill", "t/share-1.txt", "t/share-2.txt", "--key", SMALL)
    done = desk.run("drill", "t/share-1.txt", "--key", SMALL)
    assert done.status == 1
    assert "cannot tell whether this paper gives this key back: 1 more share is needed" in done.err
    assert drill_of(desk) == "gives the key back"
    rows = desk.read("t/share-2.txt").splitlines()
    desk.write("cut.txt", b"\n".join(rows[: len(rows) // 2]))
    done = desk.run("drill", "t/share-1.txt", "cut.txt", "--key", SMALL)
    assert "cannot tell whether this paper gives this key back" in done.err
    assert drill_of(desk) == "gives the key back"
    stained = [row[:8] + b"?" * 9 + row[17:] for row in rows[len(rows) // 2 :]]
    desk.write("stained.txt", b"\n".join([*rows[: len(rows) // 2], *stained]))
    done = desk.run("drill", "t/share-1.txt", "stained.txt", "--key", SMALL)
    assert "this paper does not give this key back" in done.err
    assert drill_of(desk) == "does not give the key back"


PARTS = {
    "whole": ("backup", SMALL, "--whole"),
    "compact": ("backup", SMALL, "--compact", "--passphrase-from", "pw"),
    "sealed": ("backup", SMALL, "--seal", "--passphrase-from", "pw"),
    "a file": ("backup", "note", "--plain", "--allow-unprotected"),
    "a private key": ("backup", "lamp.pem"),
    "a certificate": ("backup", SMALL, "--with-certificate"),
    "a revocation": ("revoke-sheet", SMALL, "--reason", "none", "--passphrase-from", "pw"),
}


@pytest.mark.parametrize("kind", PARTS)
def test_half_of_the_lines_says_nothing_of_the_paper(desk, kind):
    """Of whatever is printed: a good rehearsal stays noted, also where a line is wrong."""
    desk.write("note", "The bell buoy is off station.\n" * 4)
    desk.write("lamp.pem", private_keys()["locked"])
    desk.ok(*PARTS[kind], "-o", "s.pdf", "--text", "s.txt")
    live = next(name for name in PARTS[kind] if name in ("note", "lamp.pem", SMALL))
    text = desk.read("s.txt").decode()
    if kind == "a certificate":
        text = "# Ragleaf, set " + text.split("# Ragleaf, set ")[2]
    desk.write("all.txt", text)
    given = ("--key", live, "--passphrase-from", "pw")
    desk.ok("drill", "all.txt", *given)
    before = desk.ok("register", "--json").out
    assert "gives the key back" in before
    lines = [row for row in text.splitlines() if row and row[0] != "#"]
    half = lines[: len(lines) // 2]
    for part in (half, [*half, lines[len(lines) // 2][:20]], half[:1], half[1:]):
        desk.write("part.txt", "\n".join(part))
        done = desk.run("drill", "part.txt", *given)
        assert done.status == 1
        assert "cannot tell whether this paper gives this" in done.err
        assert desk.ok("register", "--json").out == before


@pytest.mark.parametrize(
    ("seen", "outcome"),
    [
        ({}, "does not give the key back"),
        ({"hints": ("The sheet is cut off.",)}, None),
        ({"is_cut_short": True}, None),
        ({"hints": ("No sheet was found.",), "raw_lines": ()}, "does not give the key back"),
    ],
)
def test_lines_that_are_wrong_on_a_picture(seen, outcome):
    """They are a failure of the paper, or of a picture that shows a part; a letter is neither."""
    raw_line = RawLine(Place(source="s.png"), ((7, "?" * 29),))
    page = Page(**{"source": "s.png", "page": 1, "pages": 1, "raw_lines": (raw_line,), **seen})
    finding = SimpleNamespace(body=None, is_partly_given=False)
    error = NotEnoughLines("9 more lines are needed")
    failure, noted_as = drill_command._failed(error, [finding], "key", [page])
    assert noted_as == outcome
    assert ("cannot tell" in str(failure)) is (outcome is None)


@pytest.mark.long
def test_a_picture_of_half_a_sheet_says_nothing_of_the_paper(noted):
    """Its rows are cut off at the side: their lines are there and wrong, and fine on the paper."""
    noted.ok("backup", KEY, "-o", "b.pdf", "--register", "r")
    page = pypdfium2.PdfDocument(noted.read("b.pdf"))[0]
    picture = page.render(scale=150 / 72, grayscale=True).to_pil().convert("L")
    picture.crop((0, 0, picture.width * 6 // 10, picture.height)).save(noted.folder / "part.png")
    done = noted.run("drill", "part.png", "--key", KEY, "--register", "r")
    assert done.status == 1
    assert "The sheet is cut off" in done.err
    assert "more lines are needed (wrong" in done.err
    assert "cannot tell whether this paper gives this key back" in done.err
    told = json.loads(noted.ok("register", "--json", "--register", "r").out)["backups"]
    assert [backup["drill"] for backup in told] == [None]


def test_a_revocation_or_certificate_of_another_key(noted):
    """It is called what it is, and the register is left alone."""
    other = CORPUS / "nist-p256.asc"
    given = ("--passphrase-from", "pw", "--register", "r")
    noted.ok("revoke-sheet", other, "--reason", "none", "-o", "v.pdf", "--text", "v.txt", *given)
    noted.ok("backup", other, "--with-certificate", "-o", "c.pdf", "--text", "c.txt", *given)
    mark = noted.read("c.txt").decode().split("# Ragleaf, set ")[2][:5]
    done = noted.run("drill", "v.txt", "--key", SMALL, "--register", "r")
    assert "carries a revocation certificate that this key did not make" in done.err
    done = noted.run("drill", "c.txt", "--mark", mark, "--key", SMALL, "--register", "r")
    assert "carries the certificate of a different key" in done.err
    done = noted.run("drill", "s.txt", "c.txt", "--mark", mark, "--key", SMALL, "--register", "r")
    assert done.status == 1
    assert "--public" not in done.err
    told = json.loads(noted.ok("register", "--json", "--register", "r").out)["backups"]
    assert {backup["drill"] for backup in told} == {None}


def test_another_key(noted):
    """The advice is to compare the fingerprint, for certificates and for secret keys."""
    done = noted.run("drill", "s.txt", "--key", KEY)
    assert done.status == 1
    assert "the paper is for the key" in done.err
    assert "whose fingerprint is printed on the sheets" in done.err
    assert drill_of(noted) is None


def private_keys():
    """A private key of another kind, it again under two passphrases, and another one; all PEM."""
    one, other = (Ed25519PrivateKey.from_private_bytes(bytes([at]) * 32) for at in (1, 2))
    under = lambda key, how: key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, how)  # noqa: E731
    locked = BestAvailableEncryption(PASSPHRASE.encode())
    return {
        "open": under(one, NoEncryption()),
        "locked": under(one, locked),
        "locked anew": under(one, locked),
        "other": under(other, NoEncryption()),
        "other, locked": under(other, locked),
    }


@pytest.mark.parametrize(
    ("live", "status", "said", "noted_as"),
    [
        ("locked", 0, "byte for byte", "gives the key back"),
        ("locked anew", 0, "the same key, by its secret numbers", "gives the key back"),
        ("open", 0, "in the live file without a passphrase", "gives the key back"),
        ("other", 1, "it carries a different key", None),
        ("other, locked", 1, "it carries a different key", None),
        ("note", 1, "it carries a different file", None),
    ],
)
def test_private_keys_of_other_kinds(desk, live, status, said, noted_as):
    """They are compared by their numbers; a wrong --key says nothing of the paper."""
    for name, data in private_keys().items():
        desk.write(name, data)
    desk.write("note", "The bell buoy is off station.\n")
    pw = ("--passphrase-from", "pw")
    desk.ok("backup", "locked", "-o", "s.pdf", "--text", "s.txt")
    done = desk.run("drill", "s.txt", "--key", live, *pw)
    assert done.status == status, done.err
    assert said in done.err
    assert drill_of(desk) == noted_as


def test_a_private_key_that_cannot_be_opened(desk):
    """Nothing is said of which key it is."""
    for name, data in private_keys().items():
        desk.write(name, data)
    desk.ok("backup", "locked", "-o", "s.pdf", "--text", "s.txt")
    desk.write("wrong", "slack water\n")
    done = desk.run("drill", "s.txt", "--key", "locked anew", "--passphrase-from", "wrong")
    assert done.status == 1
    assert "was not compared, because" in done.err
    assert "another" not in done.err
    assert drill_of(desk) is None


def test_a_private_key_has_one_name(desk):
    """On its sheet, in the register, when it is read back and rehearsed: it is called no file."""
    desk.write("lamp.pem", private_keys()["locked"])
    desk.ok("backup", "lamp.pem", "-o", "s.pdf", "--text", "s.txt")
    assert "Private key, protected by its own passphrase" in desk.read("s.txt").decode()
    assert "This paper gives this key back" in desk.ok("drill", "s.txt", "--key", "lamp.pem").err
    told = desk.ok("register").out
    assert ": private key, 1 sheet" in told
    assert "gives the key back" in told
    assert "Restored: the private key lamp.pem" in desk.ok("restore", "s.txt", "-o", "k").err
    done = desk.ok("check", "s.txt", "--prove", "--passphrase-from", "pw")
    assert "Read back in full: the private key lamp.pem" in done.err


@pytest.mark.parametrize("content", [b"0123 is the number of the buoy\n", SMALL.read_bytes()])
def test_a_file_is_called_no_key(desk, content):
    """Not where its first digit looks like DER, nor where a key was printed as a file."""
    desk.write("note", content)
    desk.ok("backup", "note", "--plain", "--allow-unprotected", "-o", "s.pdf", "--text", "s.txt")
    done = desk.ok("drill", "s.txt", "--key", "note")
    assert "This paper gives this file back, byte for byte." in done.err
    assert ": file, 1 sheet" in desk.ok("register").out


def test_files(desk):
    """Another file is told as that, and nothing is called a key; the register is left alone."""
    desk.write("note", "The bell buoy is off station.\n")
    desk.write("later", "The bell buoy is on station.\n")
    desk.ok("backup", "note", "--plain", "--allow-unprotected", "-o", "s.pdf", "--text", "s.txt")
    for live in ("later", SMALL, "s.pdf"):
        done = desk.run("drill", "s.txt", "--key", live)
        assert done.status == 1
        assert (
            "it carries a different file from the one that --key names: the file note" in done.err
        )
        assert "destroy" not in done.err
        assert f"does not give this {'key' if live is SMALL else 'file'} back" in done.err
        assert drill_of(desk) is None
    done = desk.ok("drill", "s.txt", "--key", "note")
    assert "This paper gives this file back, byte for byte." in done.err
    assert "rehearsed" in (told := desk.ok("register").out)
    assert "gives the file back" in told


@pytest.mark.parametrize("register", ["noise", "none", "folder"])
@pytest.mark.parametrize("live", [SMALL, KEY])
def test_the_result_comes_first(noted, register, live):
    """Whatever the state of the register: the trouble with it is told behind."""
    noted.write("noise", b"noise" * 400)
    (noted.folder / "folder").mkdir()
    done = noted.run("drill", "s.txt", "--key", live, "--register", register)
    assert done.status == (0 if live is SMALL else 1)
    result = SAME if live is SMALL else "does not give this key back"
    before, _, behind = done.err.partition(result)
    assert behind
    assert "The rehearsal is not noted" not in before
    if live is SMALL:
        assert "The rehearsal is not noted" in behind


def test_half_a_paper_and_no_register(noted):
    """The lines that cannot be read are told first, then the trouble with the register."""
    rows = noted.read("s.txt").decode().splitlines(keepends=True)
    stained = [f"{row[:8]}{'?' * 9}{row[17:]}" for row in rows[len(rows) // 2 :]]
    noted.write("half.txt", "".join(rows[: len(rows) // 2] + stained))
    done = noted.run("drill", "half.txt", "--key", SMALL, "--register", "none")
    assert done.status == 1
    assert "more lines are needed" in done.err.split("The rehearsal is not noted")[0]
    assert "The rehearsal is not noted" in done.err


def test_an_algorithm_that_cannot_be_opened_here(desk):
    """A secret under a cipher that is not available here is not compared, and it ends with 1."""
    whole = SMALL.read_bytes()
    foreign = bytes([254, 10, 3, 8]) + b"Saltmarw" + bytes([96]) + bytes(16) + b"x" * 60
    one = bare(whole, lambda _: foreign)
    other = bare(whole, lambda _: foreign[:-1] + b"y")
    desk.write("one.asc", one)
    desk.write("other.asc", other)
    desk.ok("backup", "one.asc", "-o", "s.pdf", "--text", "s.txt")
    done = desk.run("drill", "s.txt", "--key", "other.asc", "--passphrase-from", "pw")
    assert done.status == 1
    assert "which is not available here" in done.err
    assert "try in your OpenPGP program" in done.err
    assert desk.ok("drill", "s.txt", "--key", "one.asc").status == 0
    assert drill_of(desk) == "gives the key back"


def test_a_revocation_is_read_back(desk):
    """It is not called a file, nor proven; what verifies it is named."""
    given = ("--reason", "none", "--passphrase-from", "pw", "--no-register")
    desk.ok("revoke-sheet", SMALL, "-o", "v.pdf", "--text", "v.txt", *given)
    said = desk.ok("check", "v.txt", "--prove").err
    assert "Not proven: a revocation has no secret; ragleaf drill verifies it" in said
    assert "--plain" not in said
