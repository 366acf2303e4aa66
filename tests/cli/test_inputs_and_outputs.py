"""
Files in and out: no output is ever something that is read, or another output; and what is written
is whole, wherever messages go.
"""

import os
import stat
import sys

import pytest
from desks import CERTIFICATE, KEY, PASSPHRASE

from paperkey_alt.cli import files
from paperkey_alt.errors import OutputError


@pytest.fixture
def full_desk(desk, printed):
    """A desk with a key, its certificate, its lines and sheets, and other names of the key."""
    for name, content in (
        ("key.asc", KEY.read_bytes()),
        ("cert.asc", CERTIFICATE.read_bytes()),
        ("s.txt", printed.read("s.txt")),
        ("s.pdf", printed.read("s.pdf")),
    ):
        desk.write(name, content)
    os.link(desk.folder / "key.asc", desk.folder / "hard.asc")
    (desk.folder / "soft.asc").symlink_to("key.asc")
    (desk.folder / "shares").mkdir()
    (desk.folder / "shares/share-2.pdf").symlink_to("../key.asc")
    return desk


def content(desk):
    """The bytes of every file on a desk."""
    return {
        str(path): path.read_bytes() for path in sorted(desk.folder.rglob("*")) if path.is_file()
    }


SAME = {
    "the key": ("backup", "key.asc", "-o", "key.asc"),
    "the key by another spelling": ("backup", "key.asc", "-o", "./shares/../key.asc"),
    "the key by a link": ("backup", "key.asc", "-o", "soft.asc"),
    "the key by a hard link": ("backup", "key.asc", "-o", "hard.asc"),
    "a text over the key": ("backup", "key.asc", "-o", "n.pdf", "--text", "key.asc"),
    "a share over the key": ("backup", "key.asc", "--any", "2", "--of", "3", "-o", "shares"),
    "the sheets and the text": ("backup", "key.asc", "-o", "n.pdf", "--text", "n.pdf"),
    "but for a capital letter": ("backup", "key.asc", "-o", "n.pdf", "--text", "N.pdf"),
    "standard output twice": ("backup", "key.asc", "-o", "-", "--text", "/dev/stdout"),
    "the passphrases": ("backup", "key.asc", "-o", "pw", "--passphrase-from", "pw"),
    "the register": ("backup", "key.asc", "-o", "n.pdf", "--register", "n.pdf"),
    "the certificate": ("restore", "s.txt", "--public", "cert.asc", "-o", "cert.asc"),
    "the lines": ("restore", "s.txt", "--public", "cert.asc", "-o", "s.txt"),
    "a map over the scan": ("check", "s.pdf", "--map", "s.pdf"),
    "a revocation over the key": ("revoke-sheet", "key.asc", "-o", "key.asc", "--reason", "none"),
    "a revocation over a revocation": (
        *("revoke-sheet", "key.asc", "--certificate", "s.txt", "-o", "n.pdf"),
        *("--text", "s.txt"),
    ),
    "the restorer and its print": ("rescue", "-o", "r.py", "--sheet", "r.py"),
    "the restorer and the page": ("rescue", "-o", "r.py", "--page", "./r.py"),
}


@pytest.mark.parametrize("name", SAME)
def test_no_output_is_read_or_written_twice(full_desk, name):
    """Under whatever name and with --force: wrong use, and every file is as it was."""
    before = content(full_desk)
    done = full_desk.run(*SAME[name], "--force")
    assert done.status == 2
    assert "is also an input" in done.err or "are the same output" in done.err
    assert content(full_desk) == before


def test_a_descriptor_of_what_is_read(full_desk):
    """A shell's ``>>`` on the key, and a numbered descriptor of it, are the key as well."""
    before = content(full_desk)
    for output, descriptor in (("-", ""), ("/dev/fd/5", "5")):
        command = (
            f"{sys.executable} -m paperkey_alt backup key.asc -o {output} {descriptor}>>key.asc"
        )
        done = full_desk.run(command=("sh", "-c", command))
        assert done.status == 2
        assert "is also an input" in done.err
    assert content(full_desk) == before


def test_nothing_is_replaced_until_all_is_written(full_desk):
    """With --force: an output that fails leaves the old file of the other one in place."""
    full_desk.write("old.pdf", "old")
    done = full_desk.run(
        "backup", "key.asc", "-o", "old.pdf", "--text", "/dev/full", "--force", "--no-register"
    )
    assert done.status == 2
    assert full_desk.read("old.pdf") == b"old"
    assert not [name for name in full_desk.files() if name.startswith(".")]


@pytest.mark.parametrize("name", ["s.pdf", "key.asc", "letter", "soft.asc", "fifo", "-"])
def test_type_refuses_what_is_not_its_own(full_desk, name):
    """A scan, a key, a text without lines, a link, a pipe: nothing is added to any."""
    full_desk.write("letter", "Dear keeper,\nthe lamp of buoy 7 is out.\n")
    os.mkfifo(full_desk.folder / "fifo")
    before = content(full_desk)
    done = full_desk.run("type", name, stdin="stop\n")
    assert done.status in (1, 2)
    assert done.err.startswith(f"ragleaf: {name}")
    assert content(full_desk) == before


def test_type_keeps_its_file_to_the_owner(full_desk, printed):
    """A file that others could read is closed to them when a row is added."""
    rows = printed.read("s.txt").decode().splitlines()
    lines = [row for row in rows if not row.startswith("#")]
    full_desk.write("l.txt", "\n".join(lines[:3]) + "\n")
    (full_desk.folder / "l.txt").chmod(0o644)
    full_desk.ok("type", "l.txt", stdin=lines[3].split(None, 1)[1] + "\n")
    assert stat.S_IMODE((full_desk.folder / "l.txt").stat().st_mode) == 0o600
    assert full_desk.run("type", "l.txt", "--with", "./l.txt").status == 2


def test_append_follows_no_link(tmp_path):
    """Also where the link is put there while a line is typed."""
    (tmp_path / "target").write_text("old")
    (tmp_path / "l.txt").symlink_to("target")
    with pytest.raises(OutputError):
        files.append(str(tmp_path / "l.txt"), "row")
    assert (tmp_path / "target").read_text() == "old"


def test_a_planted_pipe_or_link_gets_nothing(full_desk):
    """Nothing is written to a pipe in a folder; a link is replaced and not followed."""
    os.mkfifo(full_desk.folder / "n.pdf")
    done = full_desk.run("backup", "key.asc", "-o", "n.pdf", "--force")
    assert done.status == 2
    assert "neither a file nor a device" in done.err
    full_desk.write("elsewhere", "old")
    (full_desk.folder / "l.pdf").symlink_to("elsewhere")
    assert full_desk.run("backup", "key.asc", "-o", "l.pdf").status == 2
    full_desk.ok("backup", "key.asc", "-o", "l.pdf", "--force", "--no-register")
    assert full_desk.read("elsewhere") == b"old"
    assert not (full_desk.folder / "l.pdf").is_symlink()
    assert stat.S_IMODE((full_desk.folder / "l.pdf").stat().st_mode) == 0o600


@pytest.mark.parametrize("has_links", [True, False])
def test_where_files_need_a_name(tmp_path, monkeypatch, has_links):
    """
    On file systems without unnamed files, and without links too, as FAT is: all or none, 0600, and
    nothing hidden is left.
    """
    monkeypatch.setattr(files, "_UNNAMED", None)
    if not has_links:

        def refuse(*_, **__):
            raise PermissionError(1, "Operation not permitted")

        monkeypatch.setattr(files.Path, "hardlink_to", refuse)
    first, second = tmp_path / "first", tmp_path / "second"
    files.write({str(first): b"1", str(second): b"2"}, force=False)
    assert (first.read_bytes(), second.read_bytes()) == (b"1", b"2")
    assert stat.S_IMODE(first.stat().st_mode) == 0o600
    with pytest.raises(OutputError):
        files.write({str(tmp_path / "third"): b"3", str(second): b"4"}, force=False)
    files.write({str(first): b"5", str(second): b"6"}, force=True)
    assert (first.read_bytes(), second.read_bytes()) == (b"5", b"6")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["first", "second"]


def test_a_name_taken_meanwhile_is_left_alone(tmp_path, monkeypatch):
    """Between the look and the writing another program takes the second name: neither is ours."""
    monkeypatch.setattr(files, "_require_place", lambda name, force: None)
    (tmp_path / "second").write_text("theirs")
    with pytest.raises(OutputError, match="exists"):
        files.write({str(tmp_path / "first"): b"1", str(tmp_path / "second"): b"2"}, force=False)
    assert (tmp_path / "second").read_text() == "theirs"
    assert [path.name for path in tmp_path.iterdir()] == ["second"]


BROKEN = {"closed": "2>&-", "full": "2>/dev/full", "a pipe nobody reads": "2>&1 >/dev/null | :"}


@pytest.mark.long
@pytest.mark.parametrize("how", BROKEN)
def test_standard_error_broken(full_desk, how):
    """`restore` and `backup` finish and write, also where nobody hears them."""
    python = sys.executable
    for wanted, arguments in (
        ("k.asc", "restore s.txt --public cert.asc -o k.asc"),
        ("n.pdf", "backup key.asc -o n.pdf --register key.asc/no"),
    ):
        command = f"{python} -m paperkey_alt {arguments} {BROKEN[how]}"
        full_desk.run(command=("sh", "-c", command))
        assert wanted in full_desk.files()
    assert full_desk.read("k.asc") == KEY.read_bytes()
    assert full_desk.read("n.pdf").rstrip().endswith(b"%%EOF")


@pytest.mark.long
@pytest.mark.parametrize("how", [">&-", ">/dev/full"])
@pytest.mark.parametrize(
    "arguments",
    [
        "check s.txt",
        "check --json s.txt",
        "restore s.txt --public cert.asc -o -",
        "register",
        "--help",
    ],
)
def test_standard_output_broken(full_desk, arguments, how):
    """A sentence and 2; no traceback, nor what the interpreter says of a stream at its end."""
    python = sys.executable
    done = full_desk.run(command=("sh", "-c", f"{python} -m paperkey_alt {arguments} {how}"))
    assert done.status == 2
    assert "ragleaf: " in done.err
    assert "Exception ignored" not in done.err


def test_all_streams_closed(full_desk):
    """The key is restored, and no message is in it."""
    command = (
        f"{sys.executable} -m paperkey_alt restore s.txt --public cert.asc -o k.asc <&- >&- 2>&-"
    )
    assert full_desk.run(command=("sh", "-c", command)).status == 0
    assert full_desk.read("k.asc") == KEY.read_bytes()


def test_a_register_that_cannot_be_written_is_a_message(full_desk):
    """After the sheets are written, and the status is 0."""
    done = full_desk.ok("backup", "key.asc", "-o", "n.pdf", "--register", "key.asc/register")
    assert "Not noted: " in done.err
    assert "n.pdf" in full_desk.files()


def test_what_a_pipe_gives_is_read(full_desk):
    """A file descriptor stays a source of passphrases."""
    reader, writer = os.pipe()
    os.write(writer, f"{PASSPHRASE}\n".encode())
    os.close(writer)
    full_desk.ok(
        *("backup", "key.asc", "--compact", "-o", "c.pdf", "--no-register"),
        *("--passphrase-from", f"/dev/fd/{reader}"),
        pass_fds=[reader],
    )
    os.close(reader)
