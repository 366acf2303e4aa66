"""
The work around a backup: noting it, rehearsing its restoration, and looking at the computer first.
"""

import json
import subprocess
import sys
from dataclasses import replace
from datetime import datetime

import pypdfium2
import pytest
from asking import asks
from desks import CERTIFICATE, CORPUS, KEY, PASSPHRASE, SMALL

from paperkey_alt.keys.openpgp import key_file, packets, protection, unlocked
from paperkey_alt.keys.openpgp.protection import PublicPart

TODAY = datetime.now().astimezone().date().isoformat()
FINGERPRINT = "5A2B4966F259FA1ED461D1C422E9DF7411088C8E"


def backups(desk, *arguments):
    """What is in the register."""
    return json.loads(desk.ok("register", "--json", *arguments).out)["backups"]


@pytest.fixture
def noted(desk, printed):
    """A desk with the demo key's sheets and lines, which the register has."""
    desk.take(printed)
    return desk


def test_a_print_is_noted(noted):
    """With its mark, key, kind, sheets, day and the key's end; never rehearsed, which is due."""
    desk = noted
    (one,) = backups(desk)
    assert (one["fingerprint"], one["kind"], one["sheets"], one["printed"]) == (
        FINGERPRINT,
        "OpenPGP key, lean",
        2,
        TODAY,
    )
    assert one["expires"] == "2027-11-25"
    assert "Never rehearsed" in one["due"][0]
    assert one["marks"][0] in desk.ok("register").out


def test_shares_and_their_holders_are_noted(desk):
    """One backup with a mark for each share; holders stand in the register alone."""
    holders = [
        word for name in ("harbour office", "lock keeper", "pilot") for word in ("--holder", name)
    ]
    desk.ok("backup", SMALL, "--any", 2, "--of", 3, "-o", "shares", "--text", "texts", *holders)
    (one,) = backups(desk)
    assert (len(one["marks"]), one["threshold"], one["holders"]) == (
        3,
        2,
        ["harbour office", "lock keeper", "pilot"],
    )
    assert b"lock keeper" not in (desk.folder / "texts/share-2.txt").read_bytes()
    assert (
        desk.run("backup", SMALL, "--any", 2, "--of", 3, "-o", "more", "--holder", "pilot").status
        == 2
    )


def test_nothing_is_noted_that_is_not_to_be(desk):
    """--no-register makes none; --register names another file."""
    desk.ok("backup", SMALL, "-o", "s.pdf", "--no-register")
    assert backups(desk) == []
    desk.ok("backup", SMALL, "-o", "t.pdf", "--register", "own.sqlite3")
    assert backups(desk) == []
    assert len(backups(desk, "--register", "own.sqlite3")) == 1


def test_a_register_that_cannot_be_written_stops_no_print(desk):
    """The sheets are made; what went wrong is said."""
    done = desk.ok("backup", SMALL, "-o", "s.pdf", "--register", "pw")
    assert "Not noted: pw cannot be used as the register" in done.err
    assert "s.pdf" in desk.files()
    assert desk.run("register", "--register", "pw").status == 2


def test_old_sheets_are_marked_destroyed(noted):
    """By any set mark, in either case; an unknown one is refused."""
    desk = noted
    mark = backups(desk)[0]["marks"][0]
    assert backups(desk, "--destroyed", mark.lower())[0]["destroyed"] == {mark: TODAY}
    assert desk.run("register", "--destroyed", "ZZZZZ").status == 2


def test_holders_and_expiry_can_be_noted_later(noted):
    """The key was renewed, the sheets went to somebody else."""
    desk = noted
    mark = backups(desk)[0]["marks"][0]
    (one,) = backups(
        desk, "--holders", f"{mark}=pilot, lock keeper", "--expires", f"{mark}=2028-11-25"
    )
    assert (one["holders"], one["expires"]) == (["pilot", "lock keeper"], "2028-11-25")
    for wrong in (("--expires", f"{mark}=soon"), ("--holders", "pilot")):
        assert desk.run("register", *wrong).status == 2


def test_no_secret_is_in_the_register(desk):
    """Neither a line of the sheets nor the passphrase."""
    desk.ok(
        "backup",
        KEY,
        "--compact",
        "--passphrase-from",
        "pw",
        "-o",
        "s.pdf",
        "--text",
        "s.txt",
        "--register",
        "r",
    )
    content = desk.read("r")
    lines = [
        row.split()
        for row in desk.read("s.txt").decode().splitlines()
        if row and not row.startswith("#")
    ]
    assert not any("".join(line[1:])[:24].encode() in content for line in lines[1:])
    assert desk.read("pw").strip() not in content


KINDS = {
    "lean": (),
    "whole": ("--whole",),
    "compact": ("--compact", "--passphrase-from", "pw"),
    "sealed": ("--seal", "--passphrase-from", "pw"),
}


@pytest.mark.parametrize("kind", KINDS)
def test_a_rehearsal_that_succeeds(desk, kind):
    """From scans, in memory: the words say so, the register has the day, and no key was written."""
    desk.ok("backup", SMALL, *KINDS[kind], "-o", "s.pdf")
    before = desk.files()
    done = desk.ok("drill", "s.pdf", "--key", SMALL, "--passphrase-from", "pw")
    assert "This paper gives this key back" in done.err
    assert desk.files() == before
    (one,) = backups(desk)
    assert (one["drilled"], one["drill"], one["due"]) == (TODAY, "gives the key back", [])


def test_a_rehearsal_with_a_file(desk):
    """What is no OpenPGP key is compared as a file."""
    desk.write("note", "The bell buoy is off station.\n")
    desk.ok("backup", "note", "--plain", "--allow-unprotected", "-o", "n.pdf")
    assert "byte for byte" in desk.ok("drill", "n.pdf", "--key", "note").err


@pytest.mark.parametrize("kind", ["txt", pytest.param("pdf", marks=pytest.mark.long)])
def test_a_rehearsal_with_shares(desk, kind):
    """Of shares as many as are needed: their lines, or the files with the letters before them."""
    folders = ("-o", "pdf", "--text", "txt")
    desk.ok("backup", KEY, "--any", 2, "--of", 3, *folders, "--register", "r")
    first, second, third = (f"{kind}/share-{number}.{kind}" for number in (1, 2, 3))
    desk.ok("drill", first, third, "--key", KEY, "--register", "r")
    assert backups(desk, "--register", "r")[0]["drill"] == "gives the key back"
    done = desk.run("drill", second, "--key", KEY, "--register", "r")
    assert done.status == 1
    assert "cannot tell whether this paper gives this key back: 1 more share" in done.err
    assert backups(desk, "--register", "r")[0]["drill"] == "gives the key back"


def test_a_rehearsal_of_a_revocation(desk):
    """A revocation sheet is told as what it is."""
    desk.ok("revoke-sheet", KEY, "--reason", "none", "--passphrase-from", "pw", "-o", "r.pdf")
    assert (
        "gives a revocation certificate of this key" in desk.ok("drill", "r.pdf", "--key", KEY).err
    )
    assert desk.run("drill", "r.pdf", "--key", CORPUS / "nist-p256.asc").status == 1


def test_a_rehearsal_with_another_key(noted):
    """It fails, and says nothing in the register of the paper of this one."""
    desk = noted
    done = desk.run("drill", "s.pdf", "--key", CORPUS / "nist-p256.asc")
    assert done.status == 1
    assert "this paper does not give this key back, because the paper is for the key" in done.err
    assert backups(desk)[0]["drill"] is None


def test_a_rehearsal_that_fails(noted):
    """More lines than can be replaced are there and wrong: what is wanting is said, and noted."""
    desk = noted
    rows = desk.read("s.txt").decode().splitlines(keepends=True)
    stained = [f"{row[:8]}{'?' * 9}{row[17:]}" for row in rows]
    half = rows[: len(rows) // 2] + stained[len(rows) // 2 :]
    desk.write("half.txt", "".join(half))
    done = desk.run("drill", "half.txt", "--key", KEY)
    assert done.status == 1
    assert "does not give this key back" in done.err
    assert "more lines are needed" in done.err
    assert "failed" in backups(desk)[0]["due"][0]


def test_a_rehearsal_with_half_of_the_sheets(noted):
    """Lines that were not given say nothing of the paper: the register stays as it is."""
    desk = noted
    rows = desk.read("s.txt").decode().splitlines(keepends=True)
    desk.write("half.txt", "".join(rows[: len(rows) // 2]))
    before = backups(desk)
    done = desk.run("drill", "half.txt", "--key", KEY)
    assert done.status == 1
    assert "cannot tell whether this paper gives this key back" in done.err
    assert "more lines are needed" in done.err
    assert "Give every sheet" in done.err
    assert backups(desk) == before


@pytest.mark.long
def test_a_rehearsal_after_the_passphrase_was_changed(noted):
    """
    The secret bytes differ: that is no change of the passphrase before both were opened, and then
    it is the same key under another one.
    """
    desk = noted
    desk.write("changed.asc", changed(KEY.read_bytes()))
    done = desk.run("drill", "s.pdf", "--key", "changed.asc")
    assert done.status == 1
    assert "was not compared" in done.err
    assert "changed since" not in done.err
    desk.write("both", f"{PASSPHRASE}\nhigh water\n")
    done = desk.ok("drill", "s.pdf", "--key", "changed.asc", "--passphrase-from", "both")
    assert "the same key under another passphrase" in done.err


def changed(file):
    """The key file with its primary secret locked anew, under another passphrase."""
    (key,) = key_file.read(file)
    part = key.secret_packets[0]
    clear = unlocked.unlock(key, asks(PASSPHRASE))[0].clear
    how = protection.parse(part.secret, part.version)
    public = PublicPart(part.packet.tag, part.version, part.public)
    secret = protection.lock(clear, how, public, b"high water")
    packet = packets.with_body(part.packet.tag, part.public + secret, like=part.packet)
    every = tuple(packet if one == part.packet else one for one in key.packets)
    return key_file.write(replace(key, packets=every), armored=True)


def test_preflight_of_what_is_not_there(desk):
    """A folder that is not there, and a key file that is none: one sentence each, and no result."""
    done = desk.run("preflight", "--output", "nowhere")
    assert done.status == 2
    assert "the folder nowhere does not exist" in done.err
    done = desk.run("preflight", "--key", ".")
    assert done.status == 1
    assert done.err.startswith("ragleaf: . is a folder, not a file.")


def test_preflight_looks_and_changes_nothing(desk):
    """
    It ends with 1 where something matters and 0 where nothing does, and tells of the clock in any
    case.
    """
    done = desk.run("preflight", "--output", desk.folder, "--key", CERTIFICATE)
    assert done.status == (1 if "WARNING" in done.out else 0)
    assert "the clock shows" in done.out
    assert desk.files() == ["pw"]


def in_namespace(command):
    """
    The end of a command in a network namespace of its own, with nothing but a loopback interface
    (network_namespaces(7)).
    """
    return subprocess.run(
        ["unshare", "-rn", "sh", "-c", command], capture_output=True, text=True, check=False
    )


def kind_of_interface():
    """A kind of interface that can be made here; none where namespaces or all kinds are missing."""
    return next(
        (
            kind
            for kind in ("dummy", "veth", "bridge")
            if in_namespace(f"ip link add x0 type {kind}").returncode == 0
        ),
        None,
    )


@pytest.mark.skipif(in_namespace("true").returncode != 0, reason="no network namespaces here")
def test_preflight_without_an_interface():
    """Nothing of the network matters."""
    done = in_namespace(f"{sys.executable} -m paperkey_alt preflight")
    assert "network interfaces are up" not in done.stdout
    assert "default route" not in done.stdout
    assert "the clock shows" in done.stdout


@pytest.mark.skipif(kind_of_interface() is None, reason="no network interface can be made here")
def test_preflight_with_an_interface():
    """One that is up matters; so does a default route through it."""
    add = f"ip link add x0 type {kind_of_interface()}"
    up = f"{add} && ip address add 192.0.2.7/24 dev x0 && ip link set x0 up && "
    done = in_namespace(f"{up}{sys.executable} -m paperkey_alt preflight")
    assert "network interfaces are up: x0" in done.stdout
    assert "default route" not in done.stdout
    done = in_namespace(
        f"{up}ip route add default via 192.0.2.1 && {sys.executable} -m paperkey_alt preflight"
    )
    assert "a default route to a network: x0" in done.stdout
    assert done.returncode == 1


def test_a_scan_of_a_print_is_rehearsed(noted):
    """Not the file that was printed but a picture of it."""
    desk, names = noted, []
    for number, page in enumerate(pypdfium2.PdfDocument(desk.read("s.pdf"))):
        names.append(f"{number}.png")
        page.render(scale=200 / 72, grayscale=True).to_pil().save(desk.folder / names[-1])
    assert "gives this key back" in desk.ok("drill", *names, "--key", KEY).err
