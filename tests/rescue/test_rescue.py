"""
What we print, a second implementation restores: paperkey_alt/rescue/rescue.py was written from
docs/format.md alone, by somebody who did not see this package, for the standard library of Python
3.8. Where the two disagree, the document or one of them is wrong.
"""

import hashlib
import random
import subprocess
import sys
from itertools import product
from pathlib import Path

import pytest

try:
    import resource
except ImportError:  # not on every system
    resource = None

from paperkey_alt.format import backup, payload
from paperkey_alt.format.backup import Terms
from paperkey_alt.format.body import PlainBody
from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.lines import ALPHABET
from paperkey_alt.format.payload import (
    Compact,
    File,
    Lean,
    ReducedPart,
    Revocation,
    RsaFile,
    SecretPart,
    Whole,
    encode,
    pack,
)
from paperkey_alt.format.seal import Cost, seal
from paperkey_alt.format.spare_lines import spare_count
from paperkey_alt.keys.openpgp import compact, extraction, key_file, unlocked
from paperkey_alt.sheet import qr, text_file

ROOT = Path(__file__).parents[2]
RESTORER = ROOT / "paperkey_alt/rescue/rescue.py"
KEY, CERTIFICATE = ROOT / "demo/buoy-keepers.asc", ROOT / "demo/buoy-keepers.cert.asc"
PASSPHRASE = "low water at dawn"


def restored(folder, *texts, public=None, **others):
    """What the second implementation makes of the texts: the bytes, or None and what it says."""
    names = []
    for at, content in enumerate(texts):
        names.append(folder / f"{at}.txt")
        names[-1].write_text(content, encoding="utf-8")
    out = folder / "out"
    command = [
        sys.executable,
        "-I",
        "-W",
        "ignore",
        RESTORER,
        *names,
        "-o",
        out,
        *(("--public", public) if public else ()),
    ]
    done = subprocess.run(
        list(map(str, command)), capture_output=True, text=True, check=False, cwd=folder, **others
    )
    assert "Traceback" not in done.stderr, done.stderr
    assert (done.returncode == 0) is out.exists()
    return (out.read_bytes() if out.exists() else None), done.stderr


def demo_key():
    """The demo key and its certificate."""
    return key_file.read(KEY.read_bytes())[0], key_file.read(CERTIFICATE.read_bytes())[0]


def line_set(body, **others):
    """A set with the usual number of spare lines."""
    return lay_out(body, spare_count(-(-len(body) // 15)), **others)


def damaged(rows, choose, spare):
    """The rows of a text file with as much damage as is promised to be undone."""
    rows = list(rows)
    for at in choose.sample(range(1, len(rows)), spare):
        rows[at] = None
    for at in choose.sample([at for at in range(1, len(rows)) if rows[at]], 12):
        row = list(rows[at].rstrip())
        for place in choose.sample([place for place in range(6, len(row)) if row[place] != " "], 2):
            row[place] = choose.choice(ALPHABET.replace(row[place], ""))
        rows[at] = "".join(row)
    return "\n".join(row for row in rows if row) + "\n"


def test_a_lean_key(tmp_path):
    """
    Undamaged, and with 46 lines lost and two wrong characters in twelve: the demo key, byte for
    byte.
    """
    key, _ = demo_key()
    made = line_set(pack(extraction.extract(key).payload))
    rows = (
        text_file.write(made, ())
        .replace("# spare lines: needed only where a line above cannot be read\n", "")
        .splitlines()
    )
    for content in ("\n".join(rows), damaged(rows, random.Random(3), 46)):
        data, said = restored(tmp_path, content, public=CERTIFICATE)
        assert data == key_file.write(key, armored=False), said
        (tmp_path / "out").unlink()


def test_one_line_too_many_is_refused(tmp_path):
    """Both refuse, and name the lines."""
    made = line_set(pack(Whole(random.Random(1).randbytes(400))))
    rows = text_file.write(made, ()).splitlines()[made.head.spare_lines + 2 :]
    data, said = restored(tmp_path, "\n".join([f"0 {made.head_line}", *rows]))
    assert data is None
    assert "[1, 2, 3" in said


@pytest.mark.long
@pytest.mark.parametrize("length", [1, 14, 15, 16, 200, 3500, 9000])
def test_whole_payloads_of_every_size(tmp_path, length):
    """One line, one group, several groups; also as the text of QR blocks, and without numbers."""
    packets = random.Random(length).randbytes(length)
    made = line_set(pack(Whole(packets)))
    lost = [number for number in range(1, made.head.total + 1) if number % 7 == 3][
        : made.head.spare_lines // 2
    ]
    numbered = "\n".join(
        row
        for row in text_file.write(made, ()).splitlines()
        if not row.split()[0].isdigit() or int(row.split()[0]) not in lost
    )
    blocks = "\n".join(
        qr.encode_block(made.head_line, at + 1, made.lines[at : at + 24])
        for at in range(0, len(made.lines), 24)
    )
    bare = "\n".join((made.head_line, *made.lines))
    for content in (numbered, blocks, bare):
        data, said = restored(tmp_path, content)
        assert data == packets, said
        (tmp_path / "out").unlink()


def test_shares(tmp_path):
    """Any two of three, each with lost lines; one is refused."""
    packets = random.Random(5).randbytes(300)
    line_sets = backup.split(
        PlainBody(pack(Whole(packets))),
        Terms(2, 3),
        spare=6,
        random_bytes=random.Random(6).randbytes,
    )
    texts = [
        "\n".join(
            row
            for row in text_file.write(one, ()).splitlines()
            if row.split()[0] not in ("2", "3", "4")
        )
        for one in line_sets
    ]
    for pair in ((0, 1), (2, 0), (1, 2)):
        data, said = restored(tmp_path, *(texts[at] for at in pair))
        assert data == packets, said
        (tmp_path / "out").unlink()
    data, said = restored(tmp_path, texts[1])
    assert data is None
    assert "2 whole shares are needed" in said


def test_a_sealed_file(tmp_path):
    """
    Argon2id and ChaCha20-Poly1305 written anew open what the library sealed; with a small cost, for
    they are slow.
    """
    body = seal(
        encode(File("note.txt", b"The spare lamp is behind the third piling.", bytes(16))),
        PASSPHRASE,
        bytes(16),
        Cost(1, 2, 10),
    )
    content = text_file.write(line_set(body, sealed=True), ())
    data, said = restored(tmp_path, content, input=f"{PASSPHRASE}\n", start_new_session=True)
    assert data == b"The spare lamp is behind the third piling.", said
    (tmp_path / "out").unlink()
    data, _ = restored(tmp_path, content, input="high tide at noon\n", start_new_session=True)
    assert data is None
    data, said = restored(tmp_path, content, input="", start_new_session=True)
    assert data is None
    assert "no passphrase was typed" in said


def no_file_over_ten_bytes():
    """As where a disk is full: what is written beyond them fails."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (10, 10))


@pytest.mark.skipif(resource is None, reason="no limits of resources on this system")
def test_a_full_disk_leaves_no_file(tmp_path):
    """It says why, and the same command works when there is room."""
    content = text_file.write(line_set(pack(Whole(bytes(range(100))))), ())
    data, said = restored(tmp_path, content, preexec_fn=no_file_over_ten_bytes)
    assert data is None
    assert "Not restored: " in said
    assert restored(tmp_path, content)[0] == bytes(range(100))


@pytest.mark.parametrize("usage", [0, 254])
def test_numbers_without_a_passphrase_are_called_bare(tmp_path, usage):
    """Of a lean key without certificate; the usage octet of RFC 9580 §3.7.2.1 tells."""
    part = SecretPart(bytes(range(20)), bytes([usage]) + bytes(40))
    content = text_file.write(line_set(pack(Lean((part,)))), ())
    data, said = restored(tmp_path, content)
    assert data is not None
    assert ("BARE SECRET" in said) is (usage == 0)


def test_another_certificate_is_refused(tmp_path):
    """Never half a key."""
    key, _ = demo_key()
    content = text_file.write(line_set(pack(extraction.extract(key).payload)), ())
    data, _ = restored(tmp_path, content, public=ROOT / "tests/keys/corpus/nist-p256.cert.asc")
    assert data is None


def test_the_numbers_of_a_compact_payload(tmp_path):
    """Shown as docs/format.md lays them out: the prime is on the paper and in what is shown."""
    key, _ = demo_key()
    reduced, _ = compact.compact(unlocked.unlock(key, lambda _: PASSPHRASE), PASSPHRASE)
    body = seal(payload.encode(reduced), PASSPHRASE, bytes(16), Cost(1, 1, 10))
    data, said = restored(
        tmp_path,
        text_file.write(line_set(body, sealed=True), ()),
        input=f"{PASSPHRASE}\n",
        start_new_session=True,
    )
    assert reduced.parts[0].value.hex().encode() in data.lower(), said


V6, V4 = b"6" * 32, b"4" * 20
FORMS = (
    ReducedPart(1, b"scalar", b"prefix", b"12345678"),
    ReducedPart(2, b"prime", b"p", b"abcdefgh"),
    ReducedPart(3, b"\xff" * 300, b"p", bytes(8)),
    ReducedPart(4, b"pd", b"p", bytes(8), other_passphrase=True),
    SecretPart(V6, b"kept"),
    SecretPart(V4, b"as well"),
)
COMPACT = """\
form 1
value 7363616c6172
prefix 707265666978
check 3132333435363738
form 2
value 7072696d65
prefix 70
check 6162636465666768
form 3
value {}
prefix 70
check 0000000000000000
form 132
value 7064
prefix 70
check 0000000000000000
form 0
fingerprint {}
secret part 6b657074
form 0
fingerprint {}
secret part 61732077656c6c
""".format("ff" * 300, V6.hex(), V4.hex())


def test_every_form_of_a_compact_payload(tmp_path):
    """
    Reduced by each rule, under another passphrase, and not reduced, of versions 4 and 6: field by
    field as on the paper.
    """
    body = seal(encode(Compact(FORMS)), PASSPHRASE, bytes(16), Cost(1, 1, 10))
    data, said = restored(
        tmp_path,
        text_file.write(line_set(body, sealed=True), ()),
        input=f"{PASSPHRASE}\n",
        start_new_session=True,
    )
    assert data == COMPACT.encode(), said


@pytest.mark.parametrize("style", [1, 2, 3, 4])
@pytest.mark.parametrize("rule", [2, 3])
def test_every_style_of_an_rsa_file(tmp_path, style, rule):
    """The numbers, and how they were written."""
    data, said = restored(
        tmp_path,
        text_file.write(line_set(pack(RsaFile("buoy.key", style, rule, 65537, 0x1F3, 0xD3))), ()),
    )
    assert (
        data == f"name buoy.key\nstyle {style}\nrule of d {rule}\ne 010001\np 01f3\nq d3\n".encode()
    ), said


@pytest.mark.parametrize("fingerprint", [V4, V6])
def test_a_revocation(tmp_path, fingerprint):
    """The packet, of a version 4 and of a version 6 key."""
    data, said = restored(
        tmp_path, text_file.write(line_set(pack(Revocation(fingerprint, b"\xc2\1x"))), ())
    )
    assert data == b"\xc2\1x", said


FORGED = (b"", b"\1", b"\1\1\x0a", b"\x08x", b"\4\5ab")


@pytest.mark.parametrize(
    ("sealed", "body"),
    # A certificate is a payload, but under no seal.
    [*product([False, True], FORGED), (True, b"\7x")],
)
def test_a_forged_body_is_refused(tmp_path, sealed, body):
    """Digests that agree make no payload of what is none: said in a sentence."""
    forged = body or b"\1" if sealed else body + hashlib.sha256(body).digest()
    given = {"input": f"{PASSPHRASE}\n", "start_new_session": True} if sealed else {}
    data, said = restored(tmp_path, text_file.write(line_set(forged, sealed=sealed), ()), **given)
    assert data is None
    assert "Not restored: " in said


def test_a_damaged_certificate_is_refused(tmp_path):
    """A packet without a body has no fingerprint."""
    key, _ = demo_key()
    (tmp_path / "cert").write_bytes(b"\xc6\0")
    data, said = restored(
        tmp_path,
        text_file.write(line_set(pack(extraction.extract(key).payload)), ()),
        public=tmp_path / "cert",
    )
    assert data is None
    assert "Not restored: the certificate has no key" in said
