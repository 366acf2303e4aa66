"""The certificate on paper: with it the paper is all that is needed."""

import json
import stat

import pypdfium2
import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ed25519
from desks import CORPUS, KEY, SMALL, SMALL_CERTIFICATE, Desk
from hostile import ADDITIONS
from samples import armored, only, user_id

from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.payload import Certificate, pack
from paperkey_alt.keys.openpgp import key_file, packets
from paperkey_alt.keys.openpgp.key import Key
from paperkey_alt.reading import sources
from paperkey_alt.sheet import text_file

PW = ("--passphrase-from", "pw")
BACKUP = ("backup", SMALL, "--with-certificate", "-o", "s.pdf", "--text", "s.txt")


@pytest.fixture
def both(desk, shelf):
    """A desk with the sheets and lines of a small key and of its certificate."""
    desk.take(shelf(*BACKUP))
    return desk


def marks(desk, name):
    """The set marks in a text file, in their order."""
    rows = desk.read(name).decode().split("\n")
    return [row.split("set ")[1][:5] for row in rows if "Ragleaf, set " in row]


def register(desk):
    """What the register has, by the kind of the print."""
    backups = json.loads(desk.ok("register", "--json").out)["backups"]
    return {entry["kind"]: entry for entry in backups}


def test_the_paper_alone_gives_the_key_back(both):
    """From the lines and from the PDF, with nothing beside them; which set was used is said."""
    for source in ("s.txt", "s.pdf"):
        done = both.ok("restore", source, "-o", "k.asc", "--force")
        assert only(both.read("k.asc")) == only(SMALL.read_bytes())
        assert f"taken from the sheets of set {marks(both, 's.txt')[1]}" in done.err


def test_what_is_printed(both):
    """Two sets in one file, of which the second has no caution; the register has both."""
    text = both.read("s.txt").decode()
    key, certificate = marks(both, "s.txt")
    assert key != certificate
    behind = text.split(f"Ragleaf, set {certificate}")[1]
    assert "This sheet shows no secret" in behind
    assert "passphrase" not in behind
    assert len(pypdfium2.PdfDocument(both.read("s.pdf"))) == 2
    assert f"the sheets of the key's public certificate (set mark {certificate})" in text
    assert "--public" not in text
    noted = register(both)
    assert noted["certificate"]["marks"] == [certificate]
    assert noted["certificate"]["sheets"] == 1
    assert noted["certificate"]["fingerprint"] == only(SMALL.read_bytes()).fingerprint.hex().upper()
    assert stat.S_IMODE((both.folder / "s.pdf").stat().st_mode) == 0o600


def test_nothing_of_a_secret_is_on_its_sheet(both):
    """The lines of its set carry the public packets, and no others."""
    mark = marks(both, "s.txt")[1]
    both.ok("restore", "s.txt", "--mark", mark, "-o", "c.asc")
    certificate = only(both.read("c.asc"))
    assert not any(part.secret for part in certificate.key_packets)
    assert certificate == only(SMALL_CERTIFICATE.read_bytes())


def test_a_rehearsal_takes_it_from_the_sheets(both):
    """The live key is only compared with: the certificate on paper is rehearsed as well."""
    done = both.ok("drill", "s.txt", "--key", SMALL)
    assert "taken from the sheets of set" in done.err
    noted = register(both)
    assert (
        noted["OpenPGP key, lean"]["drill"] == noted["certificate"]["drill"] == "gives the key back"
    )


def test_a_certificate_that_was_not_used_is_not_rehearsed(both):
    """Beside whole sheets, which need none, it is passed over."""
    both.ok("backup", SMALL, "--whole", "-o", "w.pdf", "--text", "w.txt")
    text = both.read("s.txt").decode()
    both.write("c.txt", "# Ragleaf, set " + text.split("# Ragleaf, set ")[2])
    assert "taken from" not in both.ok("drill", "w.txt", "c.txt", "--key", SMALL).err
    noted = register(both)
    assert noted["OpenPGP key, whole"]["drill"]
    assert noted["certificate"]["drill"] is None
    assert noted["OpenPGP key, lean"]["drill"] is None


def test_its_own_rehearsal(both):
    """Alone it is compared with the live key: it has every key packet that has a secret there."""
    mark = marks(both, "s.txt")[1]
    for live in (SMALL, SMALL_CERTIFICATE):
        done = both.ok("drill", "s.txt", "--mark", mark, "--key", live)
        assert "a public certificate with which this key is restored" in done.err
    assert register(both)["certificate"]["drill"] == "gives the key back"
    assert register(both)["OpenPGP key, lean"]["drill"] is None
    done = both.run("drill", "s.txt", "--mark", mark, "--key", CORPUS / "nist-p256.asc")
    assert done.status == 1
    assert "key: the certificate of" in done.err


def other_certificate(desk, name, key):
    """Write the lines of a printed certificate of other packets."""
    line_set = lay_out(pack(Certificate(packets.join(key.packets))), 4)
    desk.write(name, text_file.write(line_set, ()))
    return line_set.head.mark


def test_a_certificate_without_all_parts(both):
    """It is named by its set mark, with what it lacks; --public goes before it."""
    lines = both.read("s.txt").decode().split("# Ragleaf, set ")
    both.write("key.txt", "# Ragleaf, set " + lines[1])
    certificate = only(SMALL_CERTIFICATE.read_bytes())
    lacking = other_certificate(both, "lacking.txt", Key(certificate.packets[:-2]))
    done = both.run("restore", "key.txt", "lacking.txt", "-o", "k.asc")
    assert done.status == 1
    assert f"set {lacking} is a printed certificate" in done.err
    subkey = only(SMALL.read_bytes()).key_packets[1].fingerprint.hex().upper()
    assert subkey in done.err
    assert "k.asc" not in both.files()
    done = both.run("drill", "key.txt", "lacking.txt", "--key", SMALL)
    assert done.status == 1
    assert f"set {lacking} is a printed certificate" in done.err
    assert register(both)["OpenPGP key, lean"]["drill"] is None
    done = both.run("drill", "lacking.txt", "--key", SMALL)
    assert done.status == 1
    assert "this certificate does not restore this key" in done.err
    both.ok("restore", "key.txt", "lacking.txt", "-o", "k.asc", "--public", SMALL_CERTIFICATE)
    assert only(both.read("k.asc")) == only(SMALL.read_bytes())


def test_a_printed_certificate_of_another_key(both):
    """Whose it is, is said; with the right one beside it, it is asked which is meant."""
    lines = both.read("s.txt").decode().split("# Ragleaf, set ")
    both.write("key.txt", "# Ragleaf, set " + lines[1])
    other = only((CORPUS / "nist-p256.cert.asc").read_bytes())
    mark = other_certificate(both, "other.txt", other)
    done = both.run("restore", "key.txt", "other.txt", "-o", "k.asc")
    assert done.status == 1
    assert f"set {mark} is a printed certificate" in done.err
    assert other.fingerprint.hex().upper() in done.err
    done = both.run("restore", "s.txt", "other.txt", "-o", "k.asc")
    assert "the sheets of 2 public certificates" in done.err
    both.ok(
        "restore",
        "s.txt",
        "other.txt",
        "-o",
        "k.asc",
        *sum((("--mark", mark) for mark in marks(both, "s.txt")), ()),
    )


def test_two_printed_certificates_that_fit(both):
    """
    Drill and restore choose neither: both name the two sets and say what to do. It says nothing of
    the paper; with the set named, it is rehearsed with that.
    """
    key, certificate = marks(both, "s.txt")
    again = other_certificate(both, "again.txt", only(SMALL_CERTIFICATE.read_bytes()))
    said = f"you gave the sheets of 2 public certificates: sets {certificate}, {again}."
    advice = "Give --mark twice: with the set marks of the certificate and of the key."
    for command in (("drill", "--key", SMALL), ("restore", "-o", "k.asc"), ("check", "--prove")):
        for named in ((), ("--mark", key)):
            done = both.run(*command, "s.txt", "again.txt", *named)
            assert done.status == 1
            assert said in done.err
            assert advice in done.err
    done = both.run("drill", "s.txt", "again.txt", "--key", SMALL)
    assert "cannot tell whether this paper gives this key back" in done.err
    assert "does not give" not in done.err
    assert {entry["drill"] for entry in register(both).values()} == {None}
    assert "k.asc" not in both.files()
    named = ("--mark", key, "--mark", again)
    done = both.ok("drill", "s.txt", "again.txt", "--key", SMALL, *named)
    assert f"taken from the sheets of set {again}" in done.err
    assert register(both)["OpenPGP key, lean"]["drill"] == "gives the key back"
    assert register(both)["certificate"]["drill"] is None


def test_a_printed_certificate_and_one_in_a_file(both):
    """The file that is named goes before it, and that is said; where it does not fit, both are."""
    mark = marks(both, "s.txt")[1]
    given = ("restore", "s.txt", "-o", "k.asc", "--quiet", "--public")
    done = both.run(*given, CORPUS / "nist-p256.cert.asc")
    assert done.status == 1
    assert "leave out --public to use them" in done.err
    assert "k.asc" not in both.files()
    done = both.ok(*given, SMALL_CERTIFICATE)
    assert f"was taken from its file, not from the sheets of set {mark}." in done.err


@pytest.mark.parametrize("content", [b"\xca\3PGP", b"x", b"\xc6\x02\4\0"])
def test_sheets_of_what_is_no_certificate(both, content):
    """A set that says to be a certificate and is none is named, without a traceback."""
    lines = both.read("s.txt").decode().split("# Ragleaf, set ")
    both.write("key.txt", "# Ragleaf, set " + lines[1])
    line_set = lay_out(pack(Certificate(content)), 4)
    both.write("junk.txt", text_file.write(line_set, ()))
    done = both.run("restore", "key.txt", "junk.txt", "-o", "k.asc")
    assert done.status == 1
    assert line_set.head.mark in done.err
    assert "k.asc" not in both.files()


def test_prove_takes_it_from_the_sheets(both):
    """--prove restores and checks the key pairs; of a certificate alone it has nothing to prove."""
    assert "Read back in full" in both.ok("check", "s.txt", "--prove", *PW).err
    mark = marks(both, "s.txt")[1]
    done = both.ok("check", "s.txt", "--prove", "--mark", mark)
    assert "a public certificate has no secret" in done.err


def test_what_others_added_is_left_out_and_told(desk):
    """A key file with packets of anyone's: the paper is the same as without them."""
    key = only(SMALL.read_bytes())
    added = [add(b"Anyone can write this.") for add in ADDITIONS.values()]
    desk.write("k.asc", armored(packets.join((*key.packets, user_id(b"A stranger"), *added))))
    done = desk.ok("backup", "k.asc", "--with-certificate", "-o", "s.pdf", "--text", "s.txt")
    assert "Left out of the certificate:" in done.err
    assert "2 × user ID that the key did not sign" in done.err
    desk.ok("restore", "s.txt", "-o", "r.asc")
    assert only(desk.read("r.asc")) == only(SMALL.read_bytes())


@pytest.mark.long
def test_shares_have_it_each(desk):
    """Any two holders bring the key back with nothing else; all have the same certificate."""
    desk.ok(
        *("backup", SMALL, "--with-certificate", "--any", "2", "--of", "3"),
        *("-o", "sheets", "--text", "lines"),
    )
    seconds = {marks(desk, f"lines/share-{at}.txt")[1] for at in (1, 2, 3)}
    assert len(seconds) == 1
    desk.ok("restore", "lines/share-1.txt", "lines/share-3.txt", "-o", "k.asc")
    assert only(desk.read("k.asc")) == only(SMALL.read_bytes())
    assert register(desk)["certificate"]["sheets"] == 1
    done = desk.run("restore", "lines/share-1.txt", "-o", "again.asc")
    assert (done.status, "again.asc" in desk.files()) == (1, False)


WRONG_USE = {
    "whole": (SMALL, "--whole"),
    "plain": (SMALL, "--plain"),
    "anonymous": (SMALL, "--anonymous"),
}


@pytest.mark.parametrize("name", WRONG_USE)
def test_where_it_is_of_no_use(desk, name):
    """Exit 2, with what to do; nothing is written."""
    done = desk.run("backup", *WRONG_USE[name], "--with-certificate", "-o", "s.pdf")
    assert done.status == 2
    assert name in done.err
    assert desk.files() == ["pw"]


def test_a_key_of_another_kind_has_none(desk):
    """A private key in PEM is no OpenPGP key."""
    pem = ed25519.Ed25519PrivateKey.generate().private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.BestAvailableEncryption(b"x"),
    )
    desk.write("k.pem", pem)
    done = desk.run("backup", "k.pem", "--with-certificate", "-o", "s.pdf")
    assert done.status == 1
    assert "has no OpenPGP certificate" in done.err
    assert desk.files() == ["k.pem", "pw"]


def test_a_certificate_that_is_too_large(desk):
    """What cannot be laid out is said to be the certificate; no sheet is written."""
    key = CORPUS / "sq-v6-mldsa65-open.asc"
    done = desk.run("backup", key, "--with-certificate", "--allow-unprotected", "-o", "s.pdf")
    assert done.status == 1
    assert "the certificate is too large for paper" in done.err
    assert desk.files() == ["pw"]


@pytest.mark.long
def test_two_sheets_for_an_rsa_key_of_4096_bits(desk):
    """The promise of the guides, for a key with one user ID and one subkey."""
    done = desk.ok("backup", KEY, "--with-certificate", "-o", "s.pdf")
    (told,) = [row for row in done.err.split("\n") if " Certificate: " in row]
    assert "Certificate: 2 sheets" in told
    (key,) = key_file.read(KEY.read_bytes())
    assert key.primary.algorithm == "RSA"


@pytest.fixture(scope="module")
def scans(tmp_path_factory, forks):
    """The compact sheets of an RSA key of 4,096 bits and of its certificate, each page a scan."""
    made = Desk(tmp_path_factory.mktemp("paper"), forks)
    made.ok("backup", KEY, "--compact", "--with-certificate", *PW, "-o", "s.pdf")
    names = []
    for number, page in enumerate(pypdfium2.PdfDocument(made.read("s.pdf")), 1):
        name = f"page-{number}.png"
        picture = page.render(scale=200 / 72, grayscale=True).to_pil().convert("L")
        picture.save(made.folder / name)
        names.append(name)
    (made.folder / "s.pdf").unlink()
    return made, names


@pytest.mark.long
def test_a_key_from_nothing_but_scans(scans, desk):
    """
    Compact, sealed with the key's passphrase, on three pages: they and the passphrase are all that
    is left, and the key file comes back byte for byte. Of a key with packets of others the restored
    one has the packets of the smallest certificate, and every secret.
    """
    made, names = scans
    assert len(names) == 3
    desk.take(made)
    desk.ok("restore", *names, "-o", "k.asc", *PW)
    assert desk.read("k.asc") == KEY.read_bytes()
    for name in names:
        assert sources.read(made.read(name), name)
    done = desk.run("restore", names[0], "-o", "again.asc", *PW)
    assert (done.status, "again.asc" in desk.files()) == (1, False)
    assert "the public certificate" in done.err


@pytest.mark.long
def test_a_key_file_with_more_in_it_comes_back_with_its_secrets(desk):
    """
    What the certificate on paper leaves out is not in the restored file; the secrets are equal.
    """
    key = only(SMALL.read_bytes())
    attribute = ADDITIONS["attribute"](b"a picture")
    desk.write("k.asc", armored(packets.join((*key.packets, attribute))))
    desk.ok(*("backup", "k.asc", "--compact", "--with-certificate", *PW, "-o", "s.pdf"))
    desk.ok("restore", "s.pdf", "-o", "r.asc", *PW)
    back = only(desk.read("r.asc"))
    assert back.packets == key.packets
    assert [part.secret for part in back.key_packets] == [part.secret for part in key.key_packets]
    assert desk.ok("drill", "s.pdf", "--key", "k.asc", *PW)
