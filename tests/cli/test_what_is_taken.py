"""Files as other programs leave them are taken, and what is not a key is named for what it is."""

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    NoEncryption,
    PrivateFormat,
    pkcs12,
)
from desks import CERTIFICATE, KEY, SMALL, SMALL_CERTIFICATE

# What stands before a key on P-256 where parameters are written too: its object identifier.
PARAMETERS = b"-----BEGIN EC PARAMETERS-----\nBggqhkjOPQMBBw==\n-----END EC PARAMETERS-----\n"


def private_key():
    """A key on P-256."""
    return ec.generate_private_key(ec.SECP256R1())


def sec1():
    """A key on P-256, SEC 1 in PEM."""
    return private_key().private_bytes(
        Encoding.PEM, PrivateFormat.TraditionalOpenSSL, NoEncryption()
    )


@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_a_sec1_key_behind_its_parameters(desk, end):
    """It is known as a private key, and comes back byte for byte, parameters and all."""
    content = (PARAMETERS + sec1()).replace(b"\n", end)
    desk.write("ec.pem", content)
    desk.ok("backup", "ec.pem", "--allow-unprotected", "--prove", "-o", "s.pdf", "--text", "s.txt")
    assert "Private key (SEC 1, PEM)" in desk.read("s.txt").decode()
    desk.ok("restore", "s.txt", "-o", "back.pem")
    assert desk.read("back.pem") == content


@pytest.mark.parametrize("key", [b"", sec1()[:90]], ids=["no key", "a cut key"])
def test_parameters_without_a_sound_key(desk, key):
    """Refused with exit 1; no sheet is made."""
    desk.write("ec.pem", PARAMETERS + key)
    done = desk.run("backup", "ec.pem", "--allow-unprotected", "-o", "s.pdf")
    assert done.status == 1
    assert "s.pdf" not in desk.files()


@pytest.fixture
def revocation(desk):
    """The text of a revocation certificate of SMALL."""
    passphrase = ("--passphrase-from", "pw", "--reason", "none")
    desk.ok("revoke-sheet", SMALL, *passphrase, "-o", "r.pdf", "--text", "r.txt")
    desk.ok("restore", "r.txt", "-o", "r.asc")
    return desk.read("r.asc").decode()


@pytest.mark.parametrize("colon", [":", " : ", ""])
def test_a_revocation_behind_a_colon(desk, revocation, colon):
    """As an OpenPGP program leaves it, with words around it: read, verified and printed."""
    text = f"This is a revocation certificate.\n\n{colon}{revocation}"
    desk.write("kept.rev", text)
    arguments = ("--certificate", "kept.rev", "-o", "again.pdf", "--text", "again.txt")
    desk.ok("revoke-sheet", SMALL, *arguments)
    desk.ok("restore", "again.txt", "-o", "again.asc")
    assert desk.read("again.asc").decode() == revocation


@pytest.mark.parametrize("damage", ["another key", "cut", "words"])
def test_a_revocation_behind_a_colon_that_is_none(desk, revocation, damage):
    """Of another key, cut short, or no armor at all: refused with exit 1."""
    content = {"another key": f":{revocation}", "cut": f":{revocation[:200]}", "words": "No.\n"}
    desk.write("kept.rev", content[damage])
    key = KEY if damage == "another key" else SMALL
    done = desk.run("revoke-sheet", key, "--certificate", "kept.rev", "-o", "again.pdf")
    assert done.status == 1
    assert "again.pdf" not in desk.files()


def test_a_mark_in_small_letters(desk, shelf):
    """It chooses the set; a mark that no set has is refused."""
    desk.take(shelf("backup", SMALL, "-o", "s.pdf", "--text", "s.txt"))
    mark = desk.read("s.txt").decode().split("set ")[1][:5]
    arguments = ("restore", "s.txt", "--public", SMALL_CERTIFICATE)
    desk.ok(*arguments, "--mark", mark.lower(), "-o", "back.asc")
    desk.ok("check", "s.txt", "--mark", f" {mark.lower()} ")
    assert desk.run(*arguments, "--mark", "aaaaa", "-o", "other.asc").status == 1


def test_a_secret_key_as_certificate(desk, shelf):
    """Its public fields serve, with a caution; a certificate has none; of another key neither."""
    desk.take(shelf("backup", SMALL, "-o", "s.pdf", "--text", "s.txt"))
    assert "Caution: " in desk.ok("restore", "s.txt", "--public", SMALL, "-o", "1.asc").err
    done = desk.ok("restore", "s.txt", "--public", SMALL_CERTIFICATE, "-o", "2.asc")
    assert "secret key file" not in done.err
    assert desk.read("1.asc") == desk.read("2.asc")
    assert desk.run("restore", "s.txt", "--public", KEY, "-o", "3.asc").status == 1
    assert desk.run("restore", "s.txt", "--public", CERTIFICATE, "-o", "3.asc").status == 1


@pytest.mark.parametrize("passphrase", [b"low water at dawn", None], ids=["protected", "open"])
def test_pkcs12_is_named(desk, passphrase):
    """Refused by its name, with what to do; as a file it is printed, whatever it is."""
    protection = BestAvailableEncryption(passphrase) if passphrase else NoEncryption()
    stored = pkcs12.serialize_key_and_certificates(b"buoy", private_key(), None, None, protection)
    desk.write("key.p12", stored)
    done = desk.run("backup", "key.p12", "-o", "s.pdf", "--allow-unprotected")
    assert done.status == 1
    assert "PKCS #12" in done.err
    assert "Export the private key from it" in done.err
    desk.ok("backup", "key.p12", "--plain", "--seal", "--passphrase-from", "pw", "-o", "s.pdf")


def test_der_that_is_no_pkcs12_is_not_called_so(desk):
    """A private key in DER is taken, and other DER is refused under another name."""
    der = private_key().private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    desk.write("key.der", der)
    desk.ok("backup", "key.der", "--allow-unprotected", "-o", "s.pdf")
    desk.write("other.der", x509.Name([]).public_bytes() + bytes(30))
    desk.write("cut.der", der[:40])
    for name in ("other.der", "cut.der"):
        done = desk.run("backup", name, "--allow-unprotected", "-o", "t.pdf")
        assert done.status == 1
        assert "PKCS #12" not in done.err
