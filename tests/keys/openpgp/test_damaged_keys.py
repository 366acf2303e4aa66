"""
Files that are no secret key, by mistake or by damage: each gets its error, and never another
exception.
"""

import tracemalloc

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from samples import armored, file, new_header, sample, stub, with_headers, with_secrets

from paperkey_alt.errors import (
    DamagedKeyFile,
    NotASecretKey,
    RagleafError,
    UnprotectedSecret,
    UnsupportedKey,
)
from paperkey_alt.format.payload import Lean, SecretPart
from paperkey_alt.keys.openpgp import armor, choice, extraction, key_file, packets

KEY = sample("nist-p256").secret
OPEN = sample("rsa2048-open").secret
ARMOR = file("nist-p256.asc").decode()
ROWS = ARMOR.splitlines()
SUBKEY_AT = KEY.index(packets.join(packets.split(KEY)[3:]))


def printed(data):
    """Go the whole way from a file to what goes on paper."""
    return extraction.extract(choice.choose(key_file.read(data), None))


def pem(label):
    """A file in the textual encoding of RFC 7468."""
    return f"-----BEGIN {label}-----\nMAAwADAA\n-----END {label}-----\n".encode()


def text(*rows):
    """Rows as a file."""
    return "".join(f"{row}\n" for row in rows).encode()


FILES = {
    "nothing": (b"", DamagedKeyFile, "the file is empty"),
    "blanks alone": (b" \r\n\n\t", DamagedKeyFile, "the file is empty"),
    "text": (b"The bell buoy is back on station.\n", DamagedKeyFile, "not an OpenPGP file"),
    "zeros": (bytes(100), DamagedKeyFile, "not an OpenPGP file"),
    "ones": (b"\xff" * 100, DamagedKeyFile, "not an OpenPGP file"),
    "DER": (b"\x30\x82\4\xa4\2\1\0", DamagedKeyFile, "not an OpenPGP file"),
    "a packet that no key begins with": (b"\xf0\1a", DamagedKeyFile, "not an OpenPGP file"),
    "PKCS #8": (pem("PRIVATE KEY"), NotASecretKey, "holds PEM .*, and no OpenPGP key"),
    "PKCS #8, encrypted": (
        pem("ENCRYPTED PRIVATE KEY"),
        NotASecretKey,
        "holds PEM .*, and no OpenPGP key",
    ),
    "PKCS #1": (pem("RSA PRIVATE KEY"), NotASecretKey, "holds PEM .*, and no OpenPGP key"),
    "an SSH key": (
        pem("OPENSSH PRIVATE KEY"),
        NotASecretKey,
        "holds PEM .*, and no OpenPGP key",
    ),
    "an SSH public key": (
        b"ssh-ed25519 AAAAC3Nz keepers@saltmarrow.example\n",
        NotASecretKey,
        "holds an SSH public key, not a secret one",
    ),
    "gzip": (b"\x1f\x8b\x08\0\0\0\0\0", NotASecretKey, "the file is compressed"),
    "zip": (b"PK\3\4aaaa", NotASecretKey, "the file is compressed"),
    "xz": (b"\xfd7zXZ\0\0", NotASecretKey, "the file is compressed"),
    "compressed data": (b"\xc8\4\1aaa", NotASecretKey, "holds compressed OpenPGP data"),
    "compressed data of no stated length": (
        b"\xa3\1aaa",
        NotASecretKey,
        "holds compressed OpenPGP data",
    ),
    "an encrypted message": (b"\xc1\1\3", NotASecretKey, "holds an encrypted message"),
    "a message in pieces": (b"\xcb\xe9baaa", NotASecretKey, "holds a message"),
    "an armored message": (
        armored(b"\xcb\1a", armor.ArmorKind.MESSAGE),
        NotASecretKey,
        "holds a message",
    ),
    "a detached signature": (b"\x88\1\4", NotASecretKey, "holds a signature without the key"),
    "an armored signature": (
        armored(b"\x88\1a", armor.ArmorKind.SIGNATURE),
        NotASecretKey,
        "holds a signature",
    ),
    "a revocation certificate": (
        armored(b"\x88\1\4", armor.ArmorKind.PUBLIC_KEY),
        NotASecretKey,
        "a signature without the key",
    ),
    "a signed text": (
        text("-----BEGIN PGP SIGNED MESSAGE-----", "", "Notice"),
        NotASecretKey,
        "holds a signed message",
    ),
    "a certificate": (
        sample("nist-p256").certificate,
        NotASecretKey,
        "holds the public certificate of",
    ),
    "an armored certificate": (
        file("nist-p256.cert.asc"),
        NotASecretKey,
        "holds the public certificate of",
    ),
    "a key of stubs": (
        with_secrets(KEY, lambda _: stub()),
        NotASecretKey,
        "every secret of the key",
    ),
    "a subkey alone": (KEY[SUBKEY_AT:], NotASecretKey, "a subkey without its primary key"),
    "a user ID alone": (b"\xcd\1a", NotASecretKey, "a user ID without the key"),
    "a marker alone": (b"\xca\3PGP", NotASecretKey, "holds no key"),
    "armored padding alone": (armored(b"\xd5\1a"), NotASecretKey, "holds no key"),
    "cut in the first header": (
        KEY[:1],
        DamagedKeyFile,
        "ends within the header of the packet at byte 0",
    ),
    "cut in the primary key": (
        KEY[:60],
        DamagedKeyFile,
        "packet at byte 0 claims a body of 165 bytes, and 58 follow",
    ),
    "cut in the subkey": (
        KEY[: SUBKEY_AT + 50],
        DamagedKeyFile,
        f"packet at byte {SUBKEY_AT} claims",
    ),
    "a byte behind the key": (
        KEY + b"\n",
        DamagedKeyFile,
        f"byte {len(KEY)} begins no OpenPGP packet",
    ),
    "4 GiB in ten bytes": (
        b"\xc5\xff\xff\xff\xff\xff\4aaa",
        DamagedKeyFile,
        "claims a body of 4294967295 bytes, and 4 follow",
    ),
    "a primary key in pieces": (b"\xc5\xe9aaaa", DamagedKeyFile, "partial lengths"),
    "a primary key of no stated length": (b"\x97\4aaa", DamagedKeyFile, "indeterminate"),
    "a primary key of nothing": (b"\xc5\0", UnsupportedKey, "secret key packet is of version 0"),
    "a primary key of a version to come": (
        b"\xc5\2\7a",
        UnsupportedKey,
        "secret key packet is of version 7",
    ),
    "a secret key of an unknown algorithm": (
        KEY[:7] + b"\x63" + KEY[8:],
        UnsupportedKey,
        "algorithm 99, which Ragleaf does not know",
    ),
    "a flipped bit in an unprotected secret": (
        OPEN[:400] + bytes([OPEN[400] ^ 1]) + OPEN[401:],
        DamagedKeyFile,
        "does not agree with its checksum",
    ),
    "an unprotected secret": (OPEN, UnprotectedSecret, "no passphrase protects"),
    "armor without its end": (text(*ROWS[:-1]), DamagedKeyFile, "no END row"),
    "armor without a row": (
        text(*ROWS[:5], *ROWS[6:]),
        DamagedKeyFile,
        "one of them is altered or missing",
    ),
    "armor with a wrong character": (
        text(*ROWS[:4], "*" + ROWS[4][1:], *ROWS[5:]),
        DamagedKeyFile,
        "not base64",
    ),
    "armor with a wrong checksum": (
        text(*armored(KEY).decode().splitlines()[:-2], "=AAAA", ROWS[-1]),
        DamagedKeyFile,
        "does not agree with the rows",
    ),
    "armor in which nothing is": (
        text(ROWS[0], "", ROWS[-1]),
        DamagedKeyFile,
        "the armor is empty",
    ),
    "armor of a kind that is none": (
        ARMOR.replace("PRIVATE KEY BLOCK", "NOTICE").encode(),
        DamagedKeyFile,
        "no kind of armor",
    ),
    "armor of noise": (armored(b"noise, and no packet"), DamagedKeyFile, "not an OpenPGP file"),
}


@pytest.mark.parametrize("name", FILES)
def test_what_is_wrong_with_a_file_is_said(name):
    """Each mistake has its type, its words and advice."""
    data, kind, words = FILES[name]
    with pytest.raises(kind, match=words) as caught:
        printed(data)
    assert type(caught.value) is kind
    assert caught.value.advice


FLIPPED = {
    name: sample(name).secret
    for name in (
        "nist-p256",
        "rsa2048-open",
        "v6-curve448-argon2",
        "curve25519-aead",
        "sq-mlkem-open",
    )
} | {"five-octet headers": with_headers(KEY, new_header)}


def outcome(data):
    """What becomes of a file: an extract, or an error of ours; every other exception passes."""
    try:
        return extraction.extract(choice.choose(key_file.read(data), None), allow_unprotected=True)
    except RagleafError as error:
        return error


@settings(max_examples=400)
@given(st.sampled_from(sorted(FLIPPED)), st.data())
def test_one_byte_altered(name, draw):
    """
    Any one byte of a key file altered gives a payload or an error of ours; an unprotected version 4
    secret never passes altered under its own fingerprint.
    """
    data = FLIPPED[name]
    at = draw.draw(st.integers(0, len(data) - 1))
    altered = data[:at] + bytes([data[at] ^ draw.draw(st.integers(1, 255))]) + data[at + 1 :]
    got = outcome(altered)
    assert str(got)
    if name == "rsa2048-open" and not isinstance(got, RagleafError):
        right = {part.fingerprint: part.secret for part in outcome(data).payload.parts}
        assert all(
            part.secret == right.get(part.fingerprint, part.secret) for part in got.payload.parts
        )


@settings(max_examples=200)
@given(st.sampled_from(sorted(FLIPPED)), st.data())
def test_a_file_cut_short(name, draw):
    """
    However a key file is cut, the result is the key as far as whole packets go, or an error of
    ours.
    """
    data = FLIPPED[name]
    got = outcome(data[: draw.draw(st.integers(0, len(data) - 1))])
    if not isinstance(got, RagleafError):
        assert got.payload.parts == outcome(data).payload.parts[: len(got.payload.parts)]


@settings(max_examples=200)
@given(st.integers(0, len(ARMOR) - 1), st.integers(0, 255))
def test_one_byte_of_armor_altered(at, value):
    """As above, in an armored file."""
    data = ARMOR.encode()
    outcome(data[:at] + bytes([value]) + data[at + 1 :])


@given(
    st.binary(max_size=200)
    | st.tuples(
        st.sampled_from([b"\xc5", b"\x94", b"\xc6\xff", b"\xef\xbb\xbf"]), st.binary(max_size=80)
    ).map(b"".join)
)
def test_noise(data):
    """Arbitrary bytes, and such as begin like a key, give an error of ours or a key."""
    outcome(data)


@settings(max_examples=200)
@given(st.binary(min_size=1, max_size=80), st.sampled_from(["nist-p256", "v6-curve25519"]))
def test_any_secret_part_is_rebuilt_or_refused(secret, name):
    """
    A part with the right fingerprint and arbitrary bytes as its secret gives a key with these
    bytes, or an error of ours.
    """
    (certificate,) = key_file.read(sample(name).certificate)
    try:
        rebuilt = extraction.rebuild(
            Lean((SecretPart(certificate.fingerprint, secret),)), certificate
        )
    except RagleafError:
        return
    assert rebuilt.key.primary.secret == secret


def test_a_claim_costs_no_memory():
    """A file of ten bytes that claims 4 GiB is refused within a mebibyte."""
    data, kind, words = FILES["4 GiB in ten bytes"]
    assert len(data) == 10
    tracemalloc.start()
    try:
        with pytest.raises(kind, match=words):
            printed(data)
        assert tracemalloc.get_traced_memory()[1] < 1 << 20
    finally:
        tracemalloc.stop()


SECRETS = [part.secret for data in (KEY, OPEN) for part in outcome(data).payload.parts]


@pytest.mark.parametrize("name", FILES)
def test_no_message_quotes_a_secret(name):
    """
    Neither message nor advice has eight bytes of a secret in it, in hexadecimal, nor a row of
    armor.
    """
    error = outcome(FILES[name][0])
    said = f"{error} {getattr(error, 'advice', '')}"
    assert not any(
        secret[at : at + 8].hex() in said.lower()
        for secret in SECRETS
        for at in range(len(secret) - 7)
    )
    assert not any(row in said for row in ROWS[3:-2])
