"""
Files in and out: `read` with a bound, the `first_bytes`, `write` whole or not at all, `append` a
row.

Outputs may hold a secret: they are created 0600, and until they are whole they have no name where
the system has files without one. Only ``-``, devices under ``/dev`` and file descriptors are
streams: what else is no file gets nothing, whatever it claims to be.
"""

from __future__ import annotations

import contextlib
import os
import re
import stat
import sys
import unicodedata
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import IO, TYPE_CHECKING

from paperkey_alt.cli import process
from paperkey_alt.cli.terminal import put, say
from paperkey_alt.errors import OutputError, SourceError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

STREAM = "-"
LONGEST_KEY_FILE = 16 << 20
LONGEST_SOURCE = 512 << 20
_MODE = 0o600
_PIECE = 1 << 20
_SECRET_FROM_OTHERS = 0o077
_DESCRIPTOR = re.compile(r"/(?:dev|proc/self)/fd/([0-9]{1,9})")
_STDIN = "/dev/stdin"
_STANDARD = {_STDIN: 0, STREAM: 1, "/dev/stdout": 1, "/dev/stderr": 2}
_HIDDEN = ".ragleaf-{process}-{number}.part"
_HIDDEN_NAME = re.compile(r"\.ragleaf-([0-9]{1,9})-[0-9]+\.part")
# Flags that not every system has.
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)
_NO_WAIT = getattr(os, "O_NONBLOCK", 0)
_FOLDER = getattr(os, "O_DIRECTORY", None)
_UNNAMED = getattr(os, "O_TMPFILE", None)
_TEXT_AS_IS = getattr(os, "O_BINARY", 0)


def told(name: str) -> str:
    """Return what the input *name* is called in messages."""
    return "standard input" if name == STREAM else name


def read(name: str, longest: int) -> bytes:
    """
    Return the content of the file *name* (``-`` is standard input); raises SourceError, also above
    *longest* bytes.
    """
    with _refused(name):
        if name == STREAM:
            data = _up_to(longest + 1, sys.stdin.buffer)
        else:
            with Path(name).open("rb") as file:
                data = _up_to(longest + 1, file)
    if len(data) > longest:
        raise SourceError(
            f"{told(name)} is longer than {longest >> 20} MiB; no key or scan is that long"
        )
    return data


def gives_once(name: str) -> bool:
    """Tell whether *name* is a stream or a pipe, what is read of which is not there any more."""
    if _is_stream(name):
        return True
    there = _status(name)
    return there is not None and not (stat.S_ISREG(there.st_mode) or stat.S_ISDIR(there.st_mode))


def first_bytes(name: str, count: int) -> bytes:
    """
    Return the first *count* bytes of the file *name*, or all it has; nothing is read of a stream.
    Raises SourceError.
    """
    if gives_once(name):
        return b""
    with _refused(name), Path(name).open("rb") as file:
        return file.read(count)


@contextlib.contextmanager
def _refused(name: str) -> Iterator[None]:
    """Raise SourceError where the system does not let the file *name* be read."""
    try:
        yield
    except IsADirectoryError:
        raise SourceError(
            f"{name} is a folder, not a file", advice="Name the files in it."
        ) from None
    except (OSError, ValueError) as error:
        # A name with a zero byte in it is a ValueError.
        raise SourceError(f"{told(name)} cannot be read: {_reason(error)}") from None


def _up_to(most: int, file: IO[bytes]) -> bytes:
    """Return the first *most* bytes of *file*; the room for them is not asked for beforehand."""
    data = bytearray()
    is_terminal = file.isatty()
    while len(data) < most and (piece := file.read(min(_PIECE, most - len(data)))):
        data += piece
        if is_terminal and len(piece) < _PIECE:
            # That was the end. Asked once more, a terminal waits for it to be typed again.
            break
    return bytes(data)


def require_free(outputs: Iterable[str], *, inputs: Iterable[str | None], force: bool) -> None:
    """
    Raise OutputError where one of the *outputs* exists and *force* is not set, where its folder is
    not there, or where it is one of the *inputs* or another output, by whatever name.

    Says which hidden files of a run that was cut short lie in the folders of the outputs.
    """
    names = list(outputs)
    _require_apart(names, [name for name in inputs if name is not None])
    for name in names:
        if not _is_stream(name):
            _require_place(name, force=force)
    say(_left_behind(names))


def require_typed(name: str, inputs: Iterable[str]) -> None:
    """
    Raise OutputError where *name* is no file that rows can be added to, or is one of the *inputs*.
    """
    if _is_stream(name) or Path(name).is_symlink():
        kind = "a link" if Path(name).is_symlink() else "a stream"
        raise OutputError(f"{name} is {kind}, not a file", advice="Name the file itself.")
    require_free([name], inputs=inputs, force=True)


def name_in_payload(name: str) -> str:
    """Return the last part of *name* as paper carries it; bytes that are no UTF-8 become U+FFFD."""
    return os.fsencode(Path(name).name).decode("utf-8", "replace")


def make_folder(name: str) -> str:
    """Make the folder *name*, 0700, if it is not there, and return its name; raises OutputError."""
    try:
        Path(name).mkdir(mode=0o700)
        _sync_folder(Path(name).parent)
    except FileExistsError:
        if not Path(name).is_dir():
            raise OutputError(
                f"{name} is a file",
                advice="Name a folder: each share gets a file of its own.",
            ) from None
    except OSError as error:
        raise OutputError(f"the folder {name} cannot be made: {_reason(error)}") from None
    return name


def require_empty(name: str, *, force: bool) -> None:
    """
    Raise OutputError where *name* is something else than a folder, or a folder with anything in it
    and *force* is not set, or where the folder that it is to be in is not there.
    """
    path = Path(name)
    try:
        if not os.path.lexists(path):
            if not path.parent.is_dir():
                raise OutputError(
                    f"the folder {path.parent} is not there", advice="Make the folder first."
                )
        elif not path.is_dir():
            raise OutputError(f"{name} is a file", advice="Name a folder.")
        elif not force and next(path.iterdir(), None) is not None:
            raise OutputError(
                f"the folder {name} is not empty",
                advice="Name a new folder, or use --force to replace the files of the same names.",
            )
    except (OSError, ValueError) as error:
        raise OutputError(f"the folder {name} cannot be used: {_reason(error)}") from None


@contextlib.contextmanager
def folders(names: Iterable[str]) -> Iterator[None]:
    """
    Make the folders *names*, 0700, where they are not there; take away those that were made if what
    is done meanwhile fails or is ended by a signal, unless something is in them. Raises
    OutputError.
    """
    with contextlib.ExitStack() as stack:
        for name in names:
            with process.undisturbed():
                is_there = Path(name).is_dir()
                make_folder(name)
                if not is_there:
                    stack.callback(_remove_empty, name)
        yield
        stack.pop_all()


def _remove_empty(name: str) -> None:
    with contextlib.suppress(OSError):
        Path(name).rmdir()


def write(contents: Mapping[str, bytes], *, force: bool) -> None:
    """
    Write all of *contents* (name → bytes), 0600, or none of it.

    Each file takes its name, or the place of another with *force*, only when all of them are on the
    disk and what goes to a stream has gone there. Raises OutputError.
    """
    names = [name for name in contents if not _is_stream(name)]
    for name in names:
        _require_place(name, force=force)
    with contextlib.ExitStack() as stack:
        drafts = [_Draft.write(Path(name), contents[name], stack) for name in names]
        for name, data in contents.items():
            if name not in names:
                _write_stream(name, data)
        with process.undisturbed():
            _publish(drafts, force=force)


def append(name: str, row: str) -> None:
    """
    Add *row* to the text file *name*, made 0600 if it is not there and kept so, and see to it that
    it is on the disk; follows no link. Raises OutputError.
    """
    flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | _NO_LINK | _NO_WAIT | _TEXT_AS_IS
    is_new = not os.path.lexists(name)
    try:
        with process.undisturbed():
            descriptor = os.open(name, flags, _MODE)
            with os.fdopen(descriptor, "rb+", buffering=0) as file:
                there = os.fstat(descriptor)
                if not stat.S_ISREG(there.st_mode):
                    raise OutputError(f"{name} is not a file")
                if there.st_mode & _SECRET_FROM_OTHERS and hasattr(os, "fchmod"):
                    os.fchmod(descriptor, _MODE)
                # A row that was cut short by a loss of power stays a row by itself.
                size = file.seek(0, os.SEEK_END)
                file.seek(max(0, size - 1))
                begun = b"" if file.read() in (b"", b"\n") else b"\n"
                file.write(begun + f"{row}\n".encode())
                os.fsync(descriptor)
            if is_new:
                _sync_folder(Path(name).parent)
    except OSError as error:
        raise OutputError(f"{name} cannot be written: {_reason(error)}") from None


# What a name stands for.


def _descriptor(name: str) -> int | None:
    """Return the file descriptor that *name* stands for, None where it names a file."""
    if name in _STANDARD:
        return _STANDARD[name]
    match = _DESCRIPTOR.fullmatch(name)
    return int(match[1]) if match else None


def _is_stream(name: str) -> bool:
    """Tell whether *name* is standard output, a file descriptor or a device."""
    if _descriptor(name) is not None:
        return True
    if Path("/dev") not in Path(os.path.realpath(name)).parents:
        return False
    there = _status(name)
    return there is not None and stat.S_ISCHR(there.st_mode)


def _status(name: str) -> os.stat_result | None:
    descriptor = _descriptor(name)
    try:
        return Path(name).stat() if descriptor is None else os.fstat(descriptor)
    except (OSError, ValueError):
        return None


def _require_place(name: str, *, force: bool) -> None:
    """Raise OutputError where no file can be put at *name*."""
    path = Path(name)
    try:
        there = _status(name)
        if there is not None and stat.S_ISDIR(there.st_mode):
            raise OutputError(f"{name} is a folder", advice="Name a file in it.")
        if there is not None and not stat.S_ISREG(there.st_mode):
            raise OutputError(
                f"{name} is neither a file nor a device",
                advice="Name a file, a device under /dev, or - for standard output.",
            )
        if not force and os.path.lexists(path):
            raise OutputError(
                f"{name} exists", advice="Choose another name, or use --force to replace it."
            )
        if not path.parent.is_dir():
            raise OutputError(
                f"the folder {path.parent} does not exist", advice="Make the folder first."
            )
    except (OSError, ValueError) as error:
        raise OutputError(f"{name} cannot be written: {_reason(error)}") from None


def _require_apart(outputs: Sequence[str], inputs: Sequence[str]) -> None:
    """Raise OutputError where two of the names, of which one is an output, are one file."""
    for output in outputs:
        for source in inputs:
            if _is_same_file(output, source):
                raise OutputError(
                    f"{output} is also an input, as {source}",
                    advice="Choose another name for the output; --force does not allow this.",
                )
    for one, other in combinations(outputs, 2):
        if _place(one) == _place(other) or _is_same_stream(one, other):
            raise OutputError(
                f"{one} and {other} are the same output",
                advice="Choose a different name for each output.",
            )


def _is_same_file(output: str, source: str) -> bool:
    """Tell whether an output is a file that is read: by its place, or as a link to it."""
    mine, theirs = _status(output), _status(_STDIN if source == STREAM else source)
    if mine is not None and theirs is not None:
        # Terminals, pipes and devices may be read and written at once.
        return stat.S_ISREG(mine.st_mode) and os.path.samestat(mine, theirs)
    return _descriptor(output) is None and _place(output) == _place(source)


def _is_same_stream(one: str, other: str) -> bool:
    mine, theirs = _status(one), _status(other)
    if mine is None or theirs is None or _is_nowhere(mine):
        return False
    return os.path.samestat(mine, theirs)


def _is_nowhere(there: os.stat_result) -> bool:
    nowhere = _status(os.devnull)
    return nowhere is not None and os.path.samestat(there, nowhere)


def _place(name: str) -> str:
    """
    Return where *name* is, with links followed, as file systems compare that make no difference
    between small and capital letters or between the ways to write an accent.
    """
    if _descriptor(name) is not None:
        return f"descriptor {_descriptor(name)}"
    return unicodedata.normalize("NFC", os.path.realpath(name)).casefold()


def _left_behind(names: Iterable[str]) -> list[str]:
    """Return what to say of hidden files that a run which was cut short left beside *names*."""
    folders = dict.fromkeys(Path(name).parent for name in names if not _is_stream(name))
    found = []
    for folder in folders:
        with contextlib.suppress(OSError):
            found += [
                folder / name
                for name in sorted(path.name for path in folder.iterdir())
                if (match := _HIDDEN_NAME.fullmatch(name)) and not _is_running(int(match[1]))
            ]
    return [
        f"{path} is left over from a run that was cut short. It may hold a secret: erase it."
        for path in found
    ]


def _is_running(number: int) -> bool:
    """Tell whether the process *number* is there; where that cannot be asked, that it is not."""
    if sys.platform == "win32":
        return number == os.getpid()
    try:
        os.kill(number, 0)
    except PermissionError:
        return True
    except (OSError, OverflowError):
        return False
    return True


# Writing.


def _write_stream(name: str, data: bytes) -> None:
    descriptor = _descriptor(name)
    if descriptor == 1:
        put(data)
        return
    try:
        if descriptor is None:
            descriptor = os.open(name, os.O_WRONLY | _TEXT_AS_IS)
        else:
            descriptor = os.dup(descriptor)
        with process.within_a_stream(), os.fdopen(descriptor, "wb", buffering=0) as stream:
            view = memoryview(data)
            while view:
                view = view[stream.write(view) or 0 :]
    except OSError as error:
        raise OutputError(f"{name} cannot be written: {_reason(error)}") from None


@dataclass
class _Draft:
    """
    What is written for *path*: an open file without a name, by its *descriptor*, or one with the
    hidden name *hidden*.
    """

    path: Path
    descriptor: int
    hidden: Path | None

    @classmethod
    def write(cls, path: Path, data: bytes, stack: contextlib.ExitStack) -> _Draft:
        """Return *data* on the disk; *stack* takes it away again."""
        try:
            with process.undisturbed():
                draft = cls._opened(path)
                stack.callback(draft.forget)
            view = memoryview(data)
            while view:
                view = view[os.write(draft.descriptor, view) :]
            os.fsync(draft.descriptor)
        except OSError as error:
            raise OutputError(f"{path} cannot be written: {_reason(error)}") from None
        return draft

    @classmethod
    def _opened(cls, path: Path) -> _Draft:
        if _UNNAMED is not None and Path("/proc/self/fd").is_dir():
            # Not every file system has files without a name; each says so in its own way.
            with contextlib.suppress(OSError):
                return cls(path, os.open(path.parent, os.O_WRONLY | _UNNAMED, _MODE), None)
        hidden = _free_hidden(path.parent)
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | _NO_LINK | _TEXT_AS_IS
        return cls(path, os.open(hidden, flags, _MODE), hidden)

    def name_hidden(self) -> Path:
        """Return the hidden name of the file, given to it now if it has none."""
        if self.hidden is None:
            hidden = _free_hidden(self.path.parent)
            _link_descriptor(self.descriptor, hidden)
            self.hidden = hidden
        return self.hidden

    def forget(self) -> None:
        """Take away what was not published."""
        with contextlib.suppress(OSError):
            os.close(self.descriptor)
        if self.hidden is not None:
            with process.undisturbed():
                self.hidden.unlink(missing_ok=True)

    def take_free_name(self) -> None:
        """Give the file its name, unless another has got it meanwhile; raises OSError."""
        if self.hidden is None:
            _link_descriptor(self.descriptor, self.path)
            return
        try:
            # A link fails where the name has been taken meanwhile; a rename would replace it.
            self.path.hardlink_to(self.hidden)
        except FileExistsError:
            raise
        except OSError:
            # FAT, the usual file system of a USB stick, has no links.
            os.close(os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _MODE))
            self._replace()

    def replace(self) -> None:
        """Give the file its name, also where another has it; raises OSError."""
        self.name_hidden()
        self._replace()

    def _replace(self) -> None:
        hidden = self.name_hidden()
        if sys.platform == "win32":
            os.close(self.descriptor)  # An open file is not renamed there.
        hidden.replace(self.path)
        self.hidden = None


def _publish(drafts: Sequence[_Draft], *, force: bool) -> None:
    """Give all *drafts* their names, or none where nothing is replaced; raises OutputError."""
    published: list[Path] = []
    try:
        if force:
            for draft in drafts:
                draft.name_hidden()
        for draft in drafts:
            draft.replace() if force else draft.take_free_name()
            published.append(draft.path)
    except OSError as error:
        advice = None
        if force and published:
            advice = f"These are written: {', '.join(map(str, published))}. The others are not."
        for path in () if force else published:
            path.unlink(missing_ok=True)
        raise OutputError(
            f"the output cannot be written: {_reason(error)}", advice=advice
        ) from None
    for folder in dict.fromkeys(path.parent for path in published):
        _sync_folder(folder)


def _link_descriptor(descriptor: int, path: Path) -> None:
    """Give the open file *descriptor* the name *path* (open(2), O_TMPFILE)."""
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        # With a folder's descriptor this is linkat(2), which follows the link in /proc.
        os.link(f"/proc/self/fd/{descriptor}", path.name, dst_dir_fd=folder, follow_symlinks=True)
    finally:
        os.close(folder)


def _free_hidden(folder: Path) -> Path:
    number = 0
    while True:
        hidden = folder / _HIDDEN.format(process=os.getpid(), number=number)
        if not os.path.lexists(hidden):
            return hidden
        number += 1


def _sync_folder(folder: Path) -> None:
    """See to it that names in *folder* are on the disk, where the system can do that."""
    if _FOLDER is None:
        return
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY | _FOLDER)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _reason(error: OSError | ValueError) -> str:
    return (getattr(error, "strerror", None) or str(error)).lower()
