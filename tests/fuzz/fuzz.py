"""
Fuzzes every reader: ``python tests/fuzz/fuzz.py [SECONDS] [TARGET...]``.

Good inputs are damaged at random and read. What comes back is what a digest confirms, or one of the
program's own errors: any other exception, and any other result, is a finding, told with the seed
that makes it again.
"""

import argparse
import contextlib
import datetime as dt
import hashlib
import io
import itertools
import math
import random
import sys
import tempfile
import time
import traceback
from functools import cache
from importlib import import_module
from pathlib import Path

import pypdfium2
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, rsa

from paperkey_alt.errors import RagleafError, UnsupportedKey
from paperkey_alt.format import backup, body, head_line, payload
from paperkey_alt.format import seal as seals
from paperkey_alt.format.backup import Terms
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET, Line
from paperkey_alt.format.payload import File
from paperkey_alt.format.recover import recover
from paperkey_alt.format.seal import Cost
from paperkey_alt.keys import RevocationReason, pem, private_key, rebuild
from paperkey_alt.keys.openpgp import armor, compact, extraction, key_file, revocation, unlocked
from paperkey_alt.keys.openpgp.armor import ArmorKind
from paperkey_alt.reading import sources
from paperkey_alt.reading.image import bounds, decoder, scans
from paperkey_alt.reading.image.decoder_process import CORNERS, Answer, numbers
from paperkey_alt.reading.image.grey import Grey
from paperkey_alt.reading.text import typed
from paperkey_alt.records import entry, register, tasks
from paperkey_alt.rescue import rescue
from paperkey_alt.sheet import draw, text_file
from paperkey_alt.sheet.caption import Caption

TESTS = Path(__file__).parents[1]
CORPUS = TESTS / "keys/corpus"
# Started by itself, this file is not where pytest looks for what supports the tests.
sys.path += [str(TESTS / "support"), str(TESTS / "keys")]
hostile = import_module("hostile")
CONTENT = File("log", random.Random(1).randbytes(300), bytes(16))
BODY = payload.pack(CONTENT)
SET = lay_out(BODY, 6)
CHARACTERS = ALPHABET + "0189?# -/.\n" + ALPHABET.lower()


def damaged(data, rng):
    """The bytes with bits changed, parts cut out, doubled, moved or replaced."""
    data = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 5, 20))):
        at, size = rng.randrange(len(data) + 1), rng.choice((1, 1, 4, 30, 400))
        match rng.randrange(6):
            case 0 if at < len(data):
                data[at] ^= 1 << rng.randrange(8)
            case 1:
                del data[at : at + size]
            case 2:
                data[at:at] = rng.randbytes(size)
            case 3:
                data[at:at] = data[at : at + size]
            case 4:
                data[at : at + size] = bytes(rng.choice((0, 255)) for _ in range(size))
            case 5:
                del data[at:]
        if not data:
            return b""
    return bytes(data)


def retyped(rows, rng):
    """Text with characters changed, lost, added, and rows moved."""
    characters = list(rows)
    for _ in range(rng.choice((1, 3, 10, 40, 200))):
        at = rng.randrange(len(characters) + 1)
        match rng.randrange(4):
            case 0:
                characters[at : at + 1] = rng.choice(CHARACTERS)
            case 1:
                del characters[at : at + rng.choice((1, 1, 5, 40))]
            case 2:
                characters[at:at] = rng.choice(CHARACTERS)
            case 3:
                characters[at:at] = characters[at : at + rng.choice((1, 40, 200))]
    return "".join(characters)


@cache
def key_files():
    """
    Good key files, armored and binary: most damage to armor is told by its base64 or its checksum.
    """
    armored = [path.read_bytes() for path in sorted(CORPUS.glob("*.asc"))]
    return [*armored, *(block.data for file in armored for block in armor.dearmor(file))]


@cache
def keys(pattern):
    """The keys in the files of that name, each with its certificate."""
    pairs = [
        (path, path.with_name(path.name.replace(".asc", ".cert.asc")))
        for path in sorted(CORPUS.glob(pattern))
    ]
    return [
        tuple(key_file.read(path.read_bytes())[0] for path in pair)
        for pair in pairs
        if pair[1].exists()
    ]


@cache
def pictures():
    """The sheet of the set as files of pictures."""
    words = Caption("A title", None, None, dt.date(2026, 11, 25), (), (), ())
    pdf = draw.draw(SET, words, paper=draw.layout.PAPERS["a4"])
    page = (
        pypdfium2.PdfDocument(pdf)[0].render(scale=100 / 72, grayscale=True).to_pil().convert("L")
    )
    made = [pdf]
    for kind in ("PNG", "JPEG", "TIFF", "WEBP", "GIF", "BMP"):
        target = io.BytesIO()
        page.save(target, kind)
        made.append(target.getvalue())
    return made


def openpgp_key(rng):
    """A key file: what is taken from it goes back into it."""
    for key in key_file.read(damaged(rng.choice(key_files()), rng)):
        taken = extraction.extract(key, allow_unprotected=True).payload
        rebuilt = extraction.rebuild(taken, key)
        assert extraction.extract(rebuilt.key, allow_unprotected=True).payload == taken


def opened_key(rng):
    """A key that no passphrase protects: what is reduced is proven, and comes back as it stood."""
    key, _ = rng.choice(keys("*-open.asc"))
    for read in key_file.read(damaged(key_file.write(key, armored=False), rng)):
        lean = extraction.extract(read, allow_unprotected=True).payload
        secrets = unlocked.unlock(read, Once())
        unlocked.check_pairs(secrets)
        reduced, _ = compact.compact(secrets, "tide")
        assert compact.restore(reduced, read, "tide", Once()) == lean


def certificate(rng):
    """A certificate that the secrets are put into: they are in it afterwards, every one."""
    key, public = rng.choice(keys("*.asc"))
    lean = extraction.extract(key, allow_unprotected=True).payload
    for read in key_file.read(damaged(key_file.write(public, armored=False), rng)):
        assert set(
            extraction.extract(
                extraction.rebuild(lean, read).key, allow_unprotected=True
            ).payload.parts
        ) >= set(lean.parts)


@cache
def revocations():
    """Keys, and a revocation of each."""
    made = []
    for key, _ in keys("*-open.asc"):
        with contextlib.suppress(UnsupportedKey):
            primary = unlocked.unlock_primary(key, Once())
            made.append(
                (key, revocation.make(primary, RevocationReason.NONE, "", 2**31, bytes(32)))
            )
    return made


def revocation_file(rng):
    """A revocation certificate: it is taken only if the key made what it signs."""
    key, packet = rng.choice(revocations())
    taken = revocation.read(damaged(packet, rng), key.primary)
    assert revocation.read(revocation.write(taken), key.primary) == taken


@cache
def private_files():
    """Private keys as PEM and DER have them, with a passphrase and without."""
    # The same keys at every run; the primes are Mersenne's.
    p, q, e = 2**521 - 1, 2**607 - 1, 65537
    d = pow(e, -1, math.lcm(p - 1, q - 1))
    numbers = rsa.RSAPrivateNumbers(
        p, q, d, d % (p - 1), d % (q - 1), pow(q, -1, p), rsa.RSAPublicNumbers(e, p * q)
    )
    curve = ec.derive_private_key(2**200 + 1, ec.SECP256R1())
    pairs = (
        numbers.private_key(),
        curve,
        ed25519.Ed25519PrivateKey.from_private_bytes(bytes(range(32))),
    )
    pem, der = serialization.Encoding.PEM, serialization.Encoding.DER
    pkcs8, openssh = serialization.PrivateFormat.PKCS8, serialization.PrivateFormat.OpenSSH
    ways = ((pem, pkcs8), (der, pkcs8), (pem, openssh))
    bare = [key.private_bytes(*way, serialization.NoEncryption()) for key in pairs for way in ways]
    return [
        *bare,
        *(
            key.private_bytes(*way, serialization.BestAvailableEncryption(b"tide"))
            for key in pairs
            for way in ways[:2]
        ),
    ]


def private_key_file(rng):
    """A private key file of another kind."""
    data = damaged(rng.choice(private_files()), rng)
    if pem.recognises(data):
        private_key.extract(
            data,
            "file",
            compact=rng.random() < 0.1,
            allow_unprotected=True,
            ask=Once("tide"),
            blind=bytes(16),
        )


def typed_text(rng):
    """Typed text: the body or none."""
    found = recover(typed.read(retyped(text_file.write(SET, ()), rng), "text"))
    assert all(one.body in (BODY, None) for one in found.sets if one.head == SET.head)


def payload_bytes(rng):
    """A payload: what was packed, or an error."""
    assert payload.unpack(damaged(BODY, rng)) == CONTENT


@cache
def contents():
    """A payload of every kind, without its digest, and a certificate for those that want one."""
    key, public = keys("curve25519-legacy-open.asc")[0]
    rsa_key, rsa_public = keys("rsa2048-open.asc")[0]
    opened = [
        (unlocked.unlock(one, Once()), read) for one, read in ((key, public), (rsa_key, rsa_public))
    ]
    reduced = [(compact.compact(secrets, "tide")[0], read) for secrets, read in opened]
    carried = [
        extraction.extract(key, whole=whole, allow_unprotected=True).payload
        for whole in (False, True)
    ]
    file = private_key.extract(
        private_files()[0],
        "file",
        compact=True,
        allow_unprotected=True,
        ask=None,
        blind=bytes(16),
    ).payload
    revoked, packet = revocations()[0]
    rest = [
        (one, public)
        for one in (*carried, CONTENT, file, payload.Revocation(revoked.fingerprint, packet))
    ]
    return [(payload.encode(one), read) for one, read in (*reduced, *rest)]


def payload_layout(rng):
    """
    A payload that a forger gave a digest that agrees: laid out as the format has it, or refused;
    nothing else escapes.
    """
    content, public = rng.choice(contents())
    forged = damaged(content, rng)
    found = payload.unpack(forged + hashlib.sha256(forged).digest())
    # An exponent or a prime may have zeros before it; all else has one way to be written.
    assert isinstance(found, payload.RsaFile) or payload.encode(found) == forged
    rebuild(found, certificate=public, passphrase="tide", ask=Once())


def head_line_bytes(rng):
    """A head line of any bytes."""
    spoilt = damaged(head_line.pack(SET.head).data, rng)[:15].ljust(15, b"\0")
    head = head_line.unpack(Line(0, rng.choice((spoilt, rng.randbytes(15)))))
    assert head_line.unpack(head_line.pack(head)) == head


@cache
def sealed_content():
    """A content under a seal that costs little."""
    return seals.seal(payload.encode(CONTENT), "tide", bytes(16), Cost(1, 1, 10))


def sealed_body(rng):
    """A sealed body under its passphrase: the content or an error."""
    data = damaged(sealed_content(), rng)
    # A cost that was changed is within the bounds of what would be paid, but takes long.
    if data[:3] == sealed_content()[:3]:
        assert body.open_sealed(body.SealedBody(data), Once("tide")).payload == CONTENT


class Once:
    """Gives each passphrase once."""

    def __init__(self, *passphrases):
        self.left = list(passphrases)

    def __call__(self, what):
        """Return it."""
        if not self.left:
            raise seals.WrongPassphrase(f"no passphrase opens the {what}")
        return self.left.pop()


@cache
def share_texts():
    """Three shares as text, two of which are needed."""
    split = backup.split(
        body.PlainBody(BODY), Terms(2, 3), spare=4, random_bytes=random.Random(2).randbytes
    )
    return [text_file.write(share, ()) for share in split]


def shares(rng):
    """Shares, one of them damaged: the body or an error."""
    texts = [
        retyped(one, rng) if at == 0 else one
        for at, one in enumerate(rng.sample(share_texts(), rng.choice((2, 3))))
    ]
    joined = backup.join(recover([one for part in texts for one in typed.read(part, "text")]))
    assert joined.body == body.PlainBody(BODY)


def picture(rng):
    """A file of pictures: lines that are fine are those that were printed."""
    parts = sources.read(damaged(rng.choice(pictures()), rng), "picture")
    found = recover([one for part in parts for one in part.raw_lines])
    assert all(one.body in (BODY, None) for one in found.sets if one.head == SET.head)


@cache
def register_file():
    """A register with some entries."""
    with tempfile.TemporaryDirectory() as folder:
        book = register.Register(Path(folder) / "r")
        for at in range(30):
            book.add(
                entry.Entry((f"MARK{at}",), "00" * 20, "secret part", 2, dt.date(2026, 11, 25))
            )
        return book.path.read_bytes()


def register_bytes(rng):
    """A register: entries or an error."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "r"
        path.write_bytes(damaged(register_file(), rng))
        tasks.due(register.Register(path).entries(), dt.date(2026, 11, 25))


class Refused(RagleafError):
    """What the second implementation says instead of our errors."""


@contextlib.contextmanager
def its_errors():
    """The errors that the second implementation tells its user are answers too."""
    try:
        yield
    except (rescue.Failure, OSError, ValueError) as error:
        raise Refused(str(error)) from None


def rescue_text(rng):
    """
    Typed text of a set or of shares, read by the second implementation: the body, or it says why
    not.
    """
    texts = rng.sample(share_texts(), 2) if rng.random() < 0.2 else [text_file.write(SET, ())]
    with tempfile.TemporaryDirectory() as folder, its_errors():
        paths = [Path(folder, str(at)) for at in range(len(texts))]
        for path, one in zip(paths, texts, strict=True):
            path.write_text(retyped(one, rng), encoding="utf-8")
        rows = [row for path in paths for row in rescue.rows_of(path)]
        parts = list(rescue.parts_of(*rescue.collect(rows, str), str))
        if not parts:
            raise Refused("neither a head line nor lines enough")
        sealed, split, body_proper = rescue.choose(parts, set(), str)
        if not rescue.whole_payload(body_proper):
            raise Refused("the digest disagrees")
        assert (sealed, split, body_proper) == (0, len(texts) == 2, BODY)


def rescue_content(rng):
    """
    A payload or a certificate that somebody damaged, read by the second implementation: something
    to write, or why not.
    """
    content, public = rng.choice(contents())
    file = key_file.write(public, armored=rng.random() < 0.1)
    if rng.random() < 0.5:
        content = damaged(content, rng)
    else:
        file = damaged(file, rng)
    with its_errors():
        restored = rescue.content_of(content, [rescue.dearmor(file)], sealed=False, split=False)
        assert isinstance(restored, bytes)


def rescue_seal(rng):
    """
    A sealed body, damaged but for its cost, opened by the second implementation: the content, or
    why not.
    """
    data = sealed_content()[:3] + damaged(sealed_content(), rng)[3:]
    with its_errors():
        assert rescue.unseal(data, "tide") == payload.encode(CONTENT)


def decoded_picture(rng):
    """A damaged picture or PDF, decoded here as the decoder's process does: grey pictures."""
    data = damaged(rng.choice(pictures()), rng)
    with contextlib.suppress(bounds.Refused):
        for page in itertools.islice(scans.pages(data), 2):
            assert Grey(*page).picture().mode == "L"


def decoder_answers(rng):
    """
    Damaged answers of a decoder: pictures of the announced size, symbols with a text or none, a
    refusal, or broken off.
    """
    page = numbers(Answer.PICTURE, 7, 5, 0)
    page += (
        numbers(Answer.CODES, 1) + CORNERS.pack(0, 0, 9, 0, 9, 9, 0, 9) + numbers(1, 4) + b"tide"
    )
    page += numbers(Answer.PIXELS) + rng.randbytes(35)
    end = numbers(Answer.REFUSED, 12) + b"has no pages" + numbers(14) + b"Scan it again."
    stream = io.BytesIO(damaged(numbers(Answer.PAGES, 2) + 2 * page + rng.choice((b"", end)), rng))
    with contextlib.suppress(decoder.Broken, RagleafError):
        for _ in range(decoder.pull_count(stream, "tide.pdf")):
            width, height, is_cut_short = decoder.pull_size(stream, "tide.pdf")
            for text, corners in decoder.pull_codes(stream, "tide.pdf") or ():
                assert text is None or isinstance(text, str)
                assert len(corners) == 4
            pixels = decoder.pull_pixels(stream, width * height, "tide.pdf")
            assert Grey(width, height, pixels, is_cut_short).picture().mode == "L"


def hostile_certificate(rng):
    """
    A sound certificate with packets that hold rows of every kind of file: it is read as the key it
    is, and as no private key.
    """
    secret, public = rng.choice(plain_keys())
    texts = [
        rng.choice((b"\n", b"\r\n", b"")) + rng.choice(hostile.LABELS) + rng.choice((b"\n", b" "))
        for _ in range(rng.randrange(1, 9))
    ]
    place = rng.choice(tuple(hostile.ADDITIONS))
    for data in (secret, public):
        added = hostile.with_additions(data, place, texts)
        for file in (added, armor.armor(added, kind=ArmorKind.PUBLIC_KEY, checksum=True).encode()):
            assert not pem.recognises(file)
            assert key_file.read(file)[0].fingerprint == key_file.read(data)[0].fingerprint


@cache
def plain_keys():
    """Binary secret keys and their certificates."""
    names = ("curve25519", "v6-curve25519", "nist-p256")
    files = [(CORPUS / f"{name}.asc", CORPUS / f"{name}.cert.asc") for name in names]
    return [tuple(armor.dearmor(path.read_bytes())[0].data for path in pair) for pair in files]


def many_heads(rng):
    """Head lines of several sets among rows that are almost lines, damaged: findings or why not."""
    text = damaged(
        hostile.heads_and_junk(rng.randrange(1, 9), rng.randrange(20), rng.random()), rng
    )
    found = recover([line for page in sources.read(text, "heads.txt") for line in page.raw_lines])
    assert all(finding.body is None for finding in found.sets)


TARGETS = {
    one.__name__: one
    for one in (
        openpgp_key,
        opened_key,
        certificate,
        revocation_file,
        private_key_file,
        typed_text,
        payload_bytes,
        payload_layout,
        head_line_bytes,
        sealed_body,
        shares,
        picture,
        decoded_picture,
        decoder_answers,
        hostile_certificate,
        many_heads,
        register_bytes,
        rescue_text,
        rescue_content,
        rescue_seal,
    )
}


def fuzz(name, seconds=math.inf, seed=0, most=math.inf):
    """
    Executions, refusals and findings of one target within some seconds, or within so many
    executions.
    """
    end, count, refused, findings = time.monotonic() + seconds, 0, 0, []
    while time.monotonic() < end and count < most:
        count += 1
        try:
            TARGETS[name](random.Random(f"{name} {seed} {count}"))
        except RagleafError:
            refused += 1
        except Exception:  # noqa: BLE001 - any other exception is a finding
            findings.append((f"{name} {seed} {count}", traceback.format_exc()))
    return count, refused, findings


def main():
    """Print the table; end with 1 if there is a finding."""
    parser = argparse.ArgumentParser()
    parser.add_argument("seconds", type=float, nargs="?", default=60)
    parser.add_argument("targets", nargs="*", default=list(TARGETS))
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    print(f"{'target':<18}{'executions':>12}{'refused':>10}{'findings':>10}")
    everything = []
    for name in given.targets:
        count, refused, findings = fuzz(name, given.seconds / len(given.targets), given.seed)
        everything += findings
        print(f"{name:<18}{count:>12,}{refused:>10,}{len(findings):>10}", flush=True)
    # One of each kind: those that end in the same place are likely to be the same.
    for seed, trace in {
        trace.splitlines()[-3]: (seed, trace) for seed, trace in everything
    }.values():
        print(f"\nseed {seed!r}\n{trace}")
    return 1 if everything else 0


if __name__ == "__main__":
    sys.exit(main())
