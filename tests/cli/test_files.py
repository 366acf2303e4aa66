"""Files in and out: read with a bound; written whole, for their owner alone, or not at all."""

import io
import stat
from pathlib import Path
from types import SimpleNamespace

import pytest

from paperkey_alt.cli import files, process
from paperkey_alt.errors import OutputError, SourceError


def standard_input(monkeypatch, data):
    """Put these bytes on standard input."""
    monkeypatch.setattr("sys.stdin", SimpleNamespace(buffer=io.BytesIO(data)))


def test_a_file_and_standard_input_are_read(tmp_path, monkeypatch):
    """Whole, up to the bound itself."""
    (tmp_path / "in").write_bytes(b"tide")
    standard_input(monkeypatch, b"ebb")
    assert files.read(str(tmp_path / "in"), 4) == b"tide"
    assert files.read("-", 4) == b"ebb"


def test_what_is_too_long_is_refused(tmp_path, monkeypatch):
    """A byte above the bound, from a file or from standard input."""
    (tmp_path / "in").write_bytes(b"tides")
    standard_input(monkeypatch, b"tides")
    for name in (str(tmp_path / "in"), "-"):
        with pytest.raises(SourceError, match="is longer than"):
            files.read(name, 4)


def test_what_cannot_be_read_is_named(tmp_path):
    """A folder as such; a file that is not there with the system's reason."""
    with pytest.raises(SourceError, match="is a folder, not a file"):
        files.read(str(tmp_path), 4)
    with pytest.raises(SourceError, match="cannot be read: no such file"):
        files.read(str(tmp_path / "nowhere"), 4)


REFUSED = {
    "a file that exists": ("there", False, "exists"),
    "a folder": ("folder", True, "is a folder"),
    "a folder that is not there": ("nowhere/out", True, "does not exist"),
    "a link that leads nowhere": ("link", False, "exists"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_outputs_that_are_not_free(name, tmp_path):
    """They are refused before anything is written, and the others are not made either."""
    output, force, said = REFUSED[name]
    (tmp_path / "there").write_bytes(b"old")
    (tmp_path / "folder").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "gone")
    before = sorted(tmp_path.iterdir())
    with pytest.raises(OutputError, match=said):
        files.write({str(tmp_path / "new"): b"x", str(tmp_path / output): b"x"}, force=force)
    assert sorted(tmp_path.iterdir()) == before
    assert (tmp_path / "there").read_bytes() == b"old"


def test_all_is_written_for_its_owner_alone(tmp_path):
    """0600, and nothing else is left in the folder."""
    files.write({str(tmp_path / name): name.encode() for name in ("ebb", "flood")}, force=False)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {
        "ebb": b"ebb",
        "flood": b"flood",
    }
    assert all(stat.S_IMODE(path.stat().st_mode) == 0o600 for path in tmp_path.iterdir())


def test_force_replaces_a_file_whole(tmp_path):
    """The old content is gone, and its mode with it."""
    (tmp_path / "out").write_bytes(b"old and longer")
    (tmp_path / "out").chmod(0o644)
    files.write({str(tmp_path / "out"): b"new"}, force=True)
    assert (tmp_path / "out").read_bytes() == b"new"
    assert stat.S_IMODE((tmp_path / "out").stat().st_mode) == 0o600


def test_streams_come_last(tmp_path, capfdbinary):
    """Standard output and a device get their bytes, and are replaced by nothing."""
    files.write({"-": b"ebb", str(tmp_path / "out"): b"flood", "/dev/null": b"x"}, force=False)
    assert capfdbinary.readouterr().out == b"ebb"
    assert (tmp_path / "out").read_bytes() == b"flood"
    assert stat.S_ISCHR(Path("/dev/null").stat().st_mode)


@pytest.mark.parametrize("output", ["new", "nowhere"])
def test_a_write_that_fails_leaves_nothing(output, tmp_path):
    """Where a device is full, the files that were made are removed again."""
    names = {"new": "/dev/full", "nowhere": "/proc/out"}
    with pytest.raises(OutputError, match="cannot be written"):
        files.write({str(tmp_path / "new"): b"x", names[output]: b"x"}, force=False)
    assert list(tmp_path.iterdir()) == []


def without_links(*_):
    """A file system that has no links, as FAT has none."""
    raise PermissionError(1, "Operation not permitted")


def test_a_file_system_without_links(tmp_path, monkeypatch):
    """The file is written all the same, and one that comes meanwhile is not replaced."""
    # Nor has it files without a name (open(2), O_TMPFILE).
    monkeypatch.setattr("paperkey_alt.cli.files._UNNAMED", None)
    monkeypatch.setattr("pathlib.Path.hardlink_to", without_links)
    files.write({str(tmp_path / "out"): b"x"}, force=False)
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("out", b"x")]

    def another_comes(path, _):
        path.write_bytes(b"theirs")
        raise FileExistsError(17, "File exists")

    monkeypatch.setattr("pathlib.Path.hardlink_to", another_comes)
    with pytest.raises(OutputError, match="file exists"):
        files.write({str(tmp_path / "late"): b"x"}, force=False)
    assert (tmp_path / "late").read_bytes() == b"theirs"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["late", "out"]


def test_folders_are_made_for_their_owner_alone(tmp_path):
    """One that is there is taken as it is; a file, or no place to make one, is refused."""
    name = str(tmp_path / "shares")
    assert files.make_folder(name) == files.make_folder(name) == name
    assert stat.S_IMODE((tmp_path / "shares").stat().st_mode) == 0o700
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match="is a file"):
        files.make_folder(str(tmp_path / "file"))
    with pytest.raises(OutputError, match="cannot be made: no such file"):
        files.make_folder(str(tmp_path / "nowhere/shares"))


@pytest.mark.parametrize(
    "failure", [OutputError("the disk is full"), KeyboardInterrupt(), process.Ended(15)]
)
def test_folders_go_again_where_nothing_is_put_in_them(tmp_path, failure):
    """
    Those that were made, one in another too, whatever ends the work; one that was there stays, and
    one with a file in it.
    """
    (tmp_path / "there").mkdir()
    names = ("there", "there/inner", "made", "made/inner", "used")

    def work():
        with files.folders([str(tmp_path / name) for name in names]):
            assert (tmp_path / "made/inner").is_dir()
            (tmp_path / "used/file").touch()
            raise failure

    with pytest.raises(type(failure)):
        work()
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["file", "there", "used"]


def test_folders_go_again_where_one_cannot_be_made(tmp_path):
    """The ones before it are not left."""
    (tmp_path / "file").touch()
    names = [str(tmp_path / name) for name in ("made", "file")]
    with pytest.raises(OutputError, match="is a file"), files.folders(names):
        raise AssertionError("a file was taken for a folder")
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_rows_are_added(tmp_path):
    """In order, 0600; half a row at the end of the file stays a row by itself."""
    name = str(tmp_path / "lines")
    files.append(name, "1 ebb")
    files.append(name, "2 flood")
    assert (tmp_path / "lines").read_text() == "1 ebb\n2 flood\n"
    assert stat.S_IMODE((tmp_path / "lines").stat().st_mode) == 0o600
    (tmp_path / "lines").write_text("1 ebb\n2 fl")
    files.append(name, "2 flood")
    assert (tmp_path / "lines").read_text() == "1 ebb\n2 fl\n2 flood\n"
    with pytest.raises(OutputError, match="cannot be written"):
        files.append(str(tmp_path), "3 slack")
