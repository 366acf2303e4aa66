"""
The small print: its words are taken out of the PDF of a sheet and followed, with coreutils and some
rows of the standard library, by somebody who knows nothing else of the format, and the secret comes
back. `cryptography` stands in for any library that has the algorithms which a seal names.
"""

import datetime as dt
import hashlib
import random
import re
import subprocess
from dataclasses import replace
from functools import reduce

import pypdfium2
import pytest
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.kdf.argon2 import Argon2id
from samples import sample

from paperkey_alt import keys
from paperkey_alt.format import backup, body
from paperkey_alt.format import payload as payloads
from paperkey_alt.format.backup import Terms
from paperkey_alt.format.body import Seal
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.payload import (
    Certificate,
    Compact,
    File,
    Lean,
    ReducedPart,
    Revocation,
    RsaFile,
    SecretPart,
    Whole,
)
from paperkey_alt.keys import Extract, Form
from paperkey_alt.sheet import draw, layout, words

pytestmark = pytest.mark.usefixtures("symbols_blank")
NOW = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)
PASSPHRASE = "seven buoys in the fog"
ONE, TWO = b"\1" * 20, b"\2" * 32
# Each kind, and what its recipe must give: the fields by the names that are printed.
PAYLOADS = {
    1: (
        Lean((SecretPart(ONE, b"first"), SecretPart(TWO, b"the second" * 30))),
        {"the fingerprint": [ONE, TWO], "the secret": [b"first", b"the second" * 30]},
    ),
    2: (Whole(b"packets"), {"the key file, not armored (RFC 9580, 10.2)": b"packets"}),
    3: (
        Compact(
            (
                ReducedPart(2, b"prime" * 60, b"prefix", b"checksum"),
                SecretPart(ONE, b"kept"),
                ReducedPart(1, b"scalar", b"p", b"CHECKSUM", other_passphrase=True),
            )
        ),
        {
            "form of the secret": [b"\2", b"\0", b"\x81"],
            "value": [b"prime" * 60, b"scalar"],
            "what was before the encrypted bytes (RFC 9580, 5.5.3)": [b"prefix", b"p"],
            "of the SHA-256 of the whole secret": [b"checksum", b"CHECKSUM"],
            "fingerprint": [ONE],
            "secret": [b"kept"],
        },
    ),
    4: (
        File("Gezeiten für März.txt", b"low water", bytes(range(16))),
        {
            "name of the file (UTF-8)": "Gezeiten für März.txt".encode(),
            "the file": b"low water",
            "random": bytes(range(16)),
        },
    ),
    5: (
        RsaFile("k.pem", 1, 2, 65537, 2**127 - 1, 2**521 - 1),
        {
            "name of the file (UTF-8)": b"k.pem",
            "e": b"\1\0\1",
            "p": (2**127 - 1).to_bytes(16, "big"),
            "q": (2**521 - 1).to_bytes(66, "big"),
        },
    ),
    6: (
        Revocation(ONE, b"packet"),
        {"fingerprint": ONE, "the revocation, not armored (RFC 9580, 5.2)": b"packet"},
    ),
    7: (Certificate(b"packets"), {"the certificate, not armored (RFC 9580, 10.1)": b"packets"}),
}


def sheet_text(line_set, payload, **known):
    """All words of the first sheet of *line_set*, taken out of its PDF, in one row."""
    extract = replace(Extract(payload, "A title", None, None, None, protected=True), **known)
    caption = words.caption(extract, line_set, sheets=1, now=NOW, anonymous=True)
    pdf = draw.draw(line_set, caption, paper=layout.PAPERS["a4"])
    return " ".join(pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_bounded().split())


def run(data, *command):
    """What a program of coreutils makes of *data*."""
    return subprocess.run(command, input=data, capture_output=True, check=True).stdout


def number_in(pattern, text):
    """A number that the words say; None where they do not."""
    found = re.search(pattern, text)
    return int(found[1]) if found else None


# What follows knows the words of a sheet, and nothing of the code that printed them.


def bytes_of_the_lines(text, share=None):
    """Lines into bytes, as the sentences before the fields say."""
    last = number_in(r"first 24 characters of lines 1 to (\d+) in order", text)
    rows = dict(re.findall(r"(?<=[ \n])(\d+) ((?:[A-Z2-7]{4} ){6}[A-Z2-7]{5})", share or text))
    typed = "".join(rows[str(number)].replace(" ", "")[:24] for number in range(1, last + 1))
    decoded = run(typed.encode(), "base32", "-d")
    assert len(decoded) == number_in(r"\(RFC 4648\) to (\d+) bytes", text)
    padding = number_in(r"bytes\. Leave out the last (\d+)\.", text)
    return run(decoded, "head", "-c", f"-{padding}") if padding else decoded


def joined(text, shares):
    """Shares into a secret: *shares* are share numbers and the words of their sheets."""
    assert number_in(r"Do so with (\d+) shares", text) == len(shares)
    first = number_in(r"leave out the first (\d+) bytes of each", text)
    polynomial = int(re.search(r"in GF\(256\), (0x[0-9a-f]+)", text)[1], 16)
    last = number_in(r"share numbers\. Leave out the last (\d+) bytes", text)

    def times(a, b):
        product = 0
        for bit in range(8):
            product ^= (b >> bit & 1) * (a << bit)
        for bit in reversed(range(8, 16)):
            product ^= (product >> bit & 1) * (polynomial << bit - 8)
        return product

    def over(a, b):
        return next(c for c in range(256) if times(b, c) == a)

    secrets = []
    for x, sheet in shares.items():
        weight = reduce(times, [over(y, y ^ x) for y in shares if y != x])
        rest = run(bytes_of_the_lines(text, sheet), "tail", "-c", f"+{first + 1}")
        secrets.append([times(byte, weight) for byte in rest])
    secret = bytes(reduce(int.__xor__, column) for column in zip(*secrets, strict=True))
    return run(secret, "head", "-c", f"-{last}")


def content_of(text, data):
    """A body into what the fields are about: its digest is compared, or its seal is opened."""
    if "Before them, in order:" in text:
        length = number_in(r"The last (\d+) bytes are the SHA-256", text)
        before = run(data, "head", "-c", f"-{length}")
        assert run(before, "sha256sum").split()[0] == data[-length:].hex().encode()
        return before
    told = text.partition("In order: ")[2].partition(". Argon2id")[0]
    fields = taken(told, data)
    assert "makes 32 bytes of key from passphrase (UTF-8, NFC) and salt" in text
    key = Argon2id(
        salt=fields["salt"],
        length=32,
        iterations=fields["passes"][0],
        lanes=fields["lanes"][0],
        memory_cost=2 ** fields["memory, 2 to this power in KiB"][0],
    ).derive(PASSPHRASE.encode())
    nonce = bytes(number_in(r"nonce (\d+) zero bytes", text))
    return ChaCha20Poly1305(key).decrypt(nonce, fields["what is sealed"], None)


def taken(told, data):
    """The fields that clauses tell of, by the names that they give them; all of *data* is taken."""
    before, again, over_and_over = told.partition("again and again, to the end: ")
    if not again:
        return taken_once(told.split("; "), data)
    _, left = one_field(before.removesuffix("; "), data)
    return taken_again(over_and_over.split("; "), left)


def taken_again(clauses, left):
    """The values of fields that come again and again, some of them by what the first one says."""
    fields = {}
    while left:
        form, applies = None, True
        for clause in clauses:
            condition = re.match(r"if it is (any other|\d+): ", clause)
            if condition:
                applies = form != 0 if condition[1] == "any other" else form == int(condition[1])
            if applies:
                bare = clause[condition.end() :] if condition else clause
                (name, value), left = one_field(bare, left)
                form = value[0] if form is None else form
                fields.setdefault(name, []).append(value)
    return fields


def taken_once(clauses, left):
    """The fields that come once, and the columns that come "n times"."""
    fields, count, lengths = {}, 0, {}
    for clause in clauses:
        times = clause.removeprefix("n times ")
        measured = re.fullmatch(r"as many bytes as its length says: (.+)", times)
        if measured:
            fields[measured[1]] = []
            for length in lengths[f"length of {measured[1]}"]:
                fields[measured[1]].append(run(left, "head", "-c", str(length)))
                left = run(left, "tail", "-c", f"+{length + 1}")
            continue
        column = []
        for _ in range(count if times != clause else 1):
            (name, value), left = one_field(times, left)
            column.append(value)
        fields[name] = column if times != clause else column[0]
        lengths[name] = [int.from_bytes(value, "big") for value in column]
        if name.startswith("how many"):
            count = column[0][0]
    assert left == b"", "some bytes are in no field"
    return fields


def one_field(clause, data):
    """The name and the bytes of one field, and what is left behind it."""
    found = re.fullmatch(r"(\d+) bytes?( of length, then)?: (.+)|to the end: (.+)", clause)
    assert found, f"not understood: {clause}"
    if found[4]:
        return (found[4], data), b""
    length = before = int(found[1])
    if found[2]:
        length = int.from_bytes(run(data, "head", "-c", str(before)), "big")
        data = run(data, "tail", "-c", f"+{before + 1}")
    assert len(data) >= length, "there are fewer bytes than the field has"
    return (
        (found[3], run(data, "head", "-c", str(length))),
        run(data, "tail", "-c", f"+{length + 1}"),
    )


def followed(text, shares=None):
    """All fields that the words of a sheet give, the byte of the kind among them."""
    data = joined(text, shares) if shares else bytes_of_the_lines(text)
    told = text.rpartition("n order: 1 byte: ")[2]
    clauses = re.split(r"\. (?:The key file is|A value is|Check, the last)", told)[0].rstrip(".")
    return taken(f"1 byte: {clauses}", content_of(text, data))


def require_secret(fields, kind):
    """The fields are those of the payload of *kind*."""
    expected = PAYLOADS[kind][1]
    assert fields.items() >= expected.items()
    assert fields.get(f"{kind}, the kind", bytes([kind])) == bytes([kind])


def printed(kind, **seal):
    """The words of a sheet of the payload of *kind*, with or without a seal."""
    payload, _ = PAYLOADS[kind]
    wrapped = body.wrap(payload, Seal(PASSPHRASE, b"salt" * 4) if seal else None)
    return sheet_text(lay_out(wrapped.data, 4, sealed=wrapped.sealed), payload)


def unsealed(kind):
    """The words of a sheet, also of a compact payload, which only a seal makes fit for print."""
    payload, _ = PAYLOADS[kind]
    return sheet_text(lay_out(payloads.pack(payload), 4), payload)


@pytest.mark.parametrize("kind", PAYLOADS)
def test_the_words_of_a_sheet_give_the_secret(kind):
    """Of every kind, field by field, and no byte is left."""
    require_secret(followed(unsealed(kind)), kind)


@pytest.mark.parametrize("kind", [1, 3])
def test_the_words_open_a_seal(kind):
    """With the passphrase, and a library that has Argon2id and ChaCha20-Poly1305."""
    require_secret(followed(printed(kind, seal=True)), kind)


@pytest.mark.parametrize("seal", [None, Seal(PASSPHRASE, b"pepper" + b"salt" * 2 + b"!!")])
def test_the_words_join_shares(seal):
    """Any three of five, from the sheets of three holders; sealed or not."""
    payload, _ = PAYLOADS[1]
    random_bytes = random.Random(5).randbytes
    sets = backup.split(body.wrap(payload, seal), Terms(3, 5), spare=4, random_bytes=random_bytes)
    sheets = {number: sheet_text(sets[number - 1], payload) for number in (5, 1, 4)}
    require_secret(followed(sheets[4], sheets), 1)


def reordered(kind):
    """`KINDS` with the fields of *kind* in another order, as a careless change would have it."""
    record = payloads.KINDS[kind]
    if kind == 1:
        ((name, columns),) = record.fields
        turned = replace(
            columns, columns=(columns.columns[1], columns.columns[0], columns.columns[2])
        )
        return {**payloads.KINDS, kind: replace(record, fields=((name, turned),))}
    return {**payloads.KINDS, kind: replace(record, fields=record.fields[::-1])}


@pytest.mark.parametrize("kind", [1, 3, 4, 5, 6])
def test_words_of_another_order_give_no_secret(kind, monkeypatch):
    """
    The words come from the table, and these tests read them: with the fields of a kind told in
    another order than the one they were packed in, what follows them fails.
    """
    payload, _ = PAYLOADS[kind]
    line_set = lay_out(payloads.pack(payload), 4)
    if kind == 3:
        monkeypatch.setattr(payloads, "REDUCED_PART", payloads.REDUCED_PART[::-1])
    else:
        monkeypatch.setattr("paperkey_alt.sheet.small_print.KINDS", reordered(kind))
    with pytest.raises((AssertionError, KeyError)):
        require_secret(followed(sheet_text(line_set, payload)), kind)


@pytest.mark.parametrize("kind", [1, 4, 5])
def test_a_renamed_field_changes_the_sheet(kind, monkeypatch):
    """A field's name in the table is what a sheet calls it, if it has no other for print."""
    record = payloads.KINDS[kind]
    before = unsealed(kind)
    if kind == 1:
        ((name, columns),) = record.fields
        renamed = [
            (f"{field}s" if at else field, column)
            for at, (field, column) in enumerate(columns.columns)
        ]
        fields = ((name, replace(columns, columns=tuple(renamed))),)
    else:
        fields = tuple((f"{name}_2", codec) for name, codec in record.fields)
    changed = {**payloads.KINDS, kind: replace(record, fields=fields)}
    line_set = lay_out(payloads.pack(PAYLOADS[kind][0]), 4)
    monkeypatch.setattr("paperkey_alt.sheet.small_print.KINDS", changed)
    assert sheet_text(line_set, PAYLOADS[kind][0]) != before


def key_file(certificate, secrets):
    """
    The result of the lean recipe: "the certificate in which each key packet that has a secret here
    is the secret one: its body, then the secret". Packets and fingerprints by RFC 9580, version 4.
    """
    out = b""
    while certificate:
        tag, length = certificate[0], certificate[1]
        assert tag & 0xC0 == 0xC0
        start = 2
        if 192 <= length < 224:
            length, start = (length - 192 << 8) + certificate[2] + 192, 3
        packet, packet_body = certificate[: start + length], certificate[start : start + length]
        certificate = certificate[start + length :]
        hashed = b"\x99" + len(packet_body).to_bytes(2, "big") + packet_body
        secret = secrets.get(hashlib.sha1(hashed).digest()) if tag & 0x3F in (6, 14) else None
        if secret is not None:
            whole = packet_body + secret
            tag = {6: 5, 14: 7}[tag & 0x3F] | 0xC0
            two = len(whole) - 192
            size = bytes([len(whole)]) if two < 0 else bytes([(two >> 8) + 192, two & 0xFF])
            packet = bytes([tag]) + size + whole
        out += packet
    return out


def test_the_lean_recipe_makes_the_key_file():
    """Of a key of the corpus: what comes out is the key file that was printed, byte for byte."""
    key = sample("nist-p256")
    extract = keys.extract(
        key.secret,
        "key.asc",
        form=Form.LEAN,
        sealed=False,
        prove=False,
        allow_unprotected=False,
        fingerprint=None,
        ask=None,
        blind=bytes(16),
    )
    line_set = lay_out(body.wrap(extract.payload, None).data, 4)
    text = sheet_text(line_set, extract.payload, what=extract.what)
    assert "each key packet that has a secret here is the secret one: its body, then the" in text
    fields = followed(text)
    secrets = dict(zip(fields["the fingerprint"], fields["the secret"], strict=True))
    assert key_file(key.certificate, secrets) == key.secret
