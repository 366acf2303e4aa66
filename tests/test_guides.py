"""
The guides, followed by a stranger: every command in a box that begins with ``sh``, as printed and
in order, in an empty home, with a freshly made key.

What no program does is stood in for: a scan is the print as a picture, lines are typed from it,
/dev/shm is a folder of the test's, and an OpenPGP program exports the keys.
"""

import datetime as dt
import io
import re
import shlex
import shutil
import subprocess
import warnings
from pathlib import Path

import click
import pypdfium2
import pytest
from asking import asks
from click.testing import CliRunner
from pgpy import PGPUID, PGPKey
from pgpy.constants import (
    EllipticCurveOID,
    HashAlgorithm,
    KeyFlags,
    PubKeyAlgorithm,
    SymmetricKeyAlgorithm,
)
from rekeyed import exported
from samples import PASSPHRASE, only

from paperkey_alt.cli import passphrases
from paperkey_alt.cli.group import commands
from paperkey_alt.format.recover import recover
from paperkey_alt.keys.openpgp import unlocked
from paperkey_alt.reading import sources
from paperkey_alt.records.register import Register

ROOT = Path(__file__).parents[1]
GUIDES = ("README", *(f"docs/{name}" for name in ("at_creation", "holders", "yearly")))
GUIDES += ("docs/after_a_loss", "docs/rescue")

# What is on a scan, and what is typed, by the name of the file.
PRINTS = {
    "scan.pdf": "sheets.pdf",
    "typed.txt": "sheets.pdf",
    "rest.txt": "sheets.pdf",
    "revocation-scan.pdf": "revocation.pdf",
    "recovery-scan.pdf": "recovery.pdf",
    "next-scan.pdf": "next-sheets.pdf",
    "next-revocation-scan.pdf": "next-revocation.pdf",
    "changed-scan.pdf": "changed-sheets.pdf",
    "share-2-typed.txt": "shares/share-2.pdf",
    **{f"share-{number}-scan.pdf": f"shares/share-{number}.pdf" for number in range(1, 6)},
}
# How many shares are needed, of those that a guide means.
HOLDERS = {"docs/holders": 3}
WORDS_OF_ANOTHER_YEAR = "high water at dusk"


def rows(name):
    """The commands of a guide, a row each, without what is said of them."""
    text = (ROOT / f"{name}.md").read_text("utf-8")
    for box in re.findall(r"(?ms)^ *```sh\n(.*?)^ *```$", text):
        yield from (row.split("  # ")[0].strip() for row in box.splitlines())


def made(name):
    """A new key as a library that is not ours writes it: the secret key and its certificate."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        key = PGPKey.new(PubKeyAlgorithm.EdDSA, EllipticCurveOID.Ed25519)
        key.add_uid(
            PGPUID.new(name, email="notices@saltmarrow.example"),
            usage={KeyFlags.Sign, KeyFlags.Certify},
            hashes=[HashAlgorithm.SHA256],
            ciphers=[SymmetricKeyAlgorithm.AES256],
            key_expiration=dt.timedelta(days=730),
        )
        subkey = PGPKey.new(PubKeyAlgorithm.ECDH, EllipticCurveOID.Curve25519)
        key.add_subkey(subkey, usage={KeyFlags.EncryptCommunications})
        public = str(key.pubkey)
        key.protect(PASSPHRASE, SymmetricKeyAlgorithm.AES256, HashAlgorithm.SHA256)
        return str(key).encode(), public.encode()


class Stranger:
    """Who follows the guides: a home, the keys, the prints in a drawer, and what was said."""

    def __init__(self, home, monkeypatch):
        self.home, self.monkeypatch = home, monkeypatch
        self.memory = home.parent / "memory"
        self.memory.mkdir()
        self.drawer, self.said, self.lines = {}, [], []
        key, certificate = made("Saltmarrow Buoy Keepers")
        next_key, _ = made("Saltmarrow Buoy Keepers")
        self.exports = {
            "key.asc": key,
            "cert.asc": certificate,
            "next-key.asc": next_key,
            "changed-key.asc": exported(key, WORDS_OF_ANOTHER_YEAR),
            # What a text editor writes.
            "recovery.txt": b"271828-182845-904523-536028-747135-266249\n",
        }
        monkeypatch.chdir(home)
        monkeypatch.setenv("HOME", str(home))
        monkeypatch.delenv("XDG_DATA_HOME", raising=False)
        monkeypatch.setattr(passphrases, "_require_terminal", lambda _: None)
        monkeypatch.setattr(click, "prompt", self.answer)

    def answer(self, prompt, **_):
        """What is typed at a prompt: a passphrase, or the line of the number that it shows."""
        if "assphrase" in prompt:
            return PASSPHRASE
        return self.lines[int(prompt)]

    def lines_of(self, paper):
        """The lines on a print."""
        pages = sources.read(self.drawer[paper], paper)
        (finding,) = recover([line for page in pages for line in page.raw_lines]).sets
        line_set = finding.laid_out()
        return [line_set.head_line, *line_set.lines]

    def scan(self, name):
        """
        Lay the print on the scanner, of a share without its letter: the pages as pictures of 200
        dpi in a PDF.
        """
        first = 1 if "share" in name else 0
        printed = list(pypdfium2.PdfDocument(self.drawer[PRINTS[name]]))[first:]
        pages = [
            page.render(scale=200 / 72, grayscale=True).to_pil().convert("L") for page in printed
        ]
        picture = io.BytesIO()
        pages[0].save(picture, "PDF", save_all=True, append_images=pages[1:], resolution=200)
        Path(name).write_bytes(picture.getvalue())

    def mark(self, guide):
        """The set mark that the guide means: of the first print, or of a share of the key."""
        entries = Register(self.home / ".local/share/ragleaf/register.sqlite3").entries()
        return next(one for one in entries if one.threshold == HOLDERS.get(guide)).marks[0]

    def follow(self, guide):
        """Do what the guide says."""
        for row in rows(guide):
            command = row.replace("/dev/shm", str(self.memory))
            if "MARK" in command:
                command = command.replace("MARK", self.mark(guide))
            words = shlex.split(command)
            if words[0] == "cd":
                self.monkeypatch.chdir(words[1])
            elif words[0] == "ragleaf":
                self.lay_ready(words[1:])
                self.run(words[1:], row)
            else:
                self.lay_ready(words)
                done = subprocess.run(
                    ["sh", "-c", command], capture_output=True, text=True, check=False
                )
                assert done.returncode == 0, (row, done.stderr)
                self.said.append(done.stdout)

    def lay_ready(self, words):
        """Make what the command reads and no command makes."""
        outputs = {words[at + 1] for at, word in enumerate(words[:-1]) if word in ("-o", "--map")}
        for word in {*words} - outputs:
            if word.endswith("scan.pdf") and not Path(word).exists():
                self.scan(word)
            elif word in self.exports and not Path(word).exists():
                Path(word).write_bytes(self.exports[word])
        if words[0] == "type":
            self.lines = self.lines_of(PRINTS[words[1]])

    def run(self, words, row):
        """Run ragleaf, and put what it prints into the drawer."""
        done = CliRunner().invoke(commands, words)
        warned = words[0] == "preflight" and done.exit_code == 1
        assert done.exit_code == 0 or warned, (row, done.output, done.exception)
        self.said.append(done.output)
        if words[0] in ("backup", "revoke-sheet"):
            option = "--envelope" if "--envelope" in words else "-o"
            printed = Path(words[words.index(option) + 1])
            for sheets in printed.glob("*.pdf") if printed.is_dir() else (printed,):
                self.drawer[str(sheets)] = sheets.read_bytes()


@pytest.mark.long
@pytest.mark.skipif(not (shutil.which("base32") and shutil.which("od")), reason="no coreutils here")
def test_the_guides_work_as_printed(tmp_path, monkeypatch):
    """
    Every command of every guide ends well. The key comes back with its secrets, from sheets, from
    shares and by the stand-alone restorer; old sheets are called replaced once the changed key was
    printed and rehearsed; by hand, the digest is the one on the paper.
    """
    home = tmp_path / "home"
    home.mkdir()
    stranger = Stranger(home, monkeypatch)
    for guide in GUIDES:
        stranger.follow(guide)
    live = secrets(stranger.exports["key.asc"])
    for back in ("home/restored.asc", "memory/key/from-shares.asc", "memory/back/key.asc"):
        assert secrets((tmp_path / back).read_bytes()) == live
    assert secrets((tmp_path / "memory/back/rescued.key").read_bytes()) == live
    said = "\n".join(stranger.said)
    agreed = [said.count(f"This paper gives this {noun} back") for noun in ("key", "file")]
    assert sum(agreed) >= 8
    assert agreed[1] == 1
    assert "gives a revocation certificate of this key" in said
    assert "DUE: Replaced by" in said
    digest, copied, note = stranger.said[-3:]
    assert digest.split()[0] == "".join(copied.split())
    assert note == "The bell buoy off the north mole is back on station.\n"


def secrets(data):
    """The secret numbers of a key, by the fingerprint of each packet."""
    opened = unlocked.unlock(only(data), asks(*[PASSPHRASE] * 2))
    return {one.packet.fingerprint: one.clear for one in opened}


def test_no_guide_is_left_out():
    """
    Every page that has commands to follow is followed. docs/offline.md needs a package index:
    tests/cli/test_offline.py follows it.
    """
    pages = {f"docs/{path.name}" for path in (ROOT / "docs").glob("*.md")} | {"README.md"}
    with_commands = {page for page in pages if "```" in (ROOT / page).read_text("utf-8")}
    assert with_commands == {f"{guide}.md" for guide in GUIDES}
