"""
Files in and out: `read` with a bound, `write` whole or not at all.

Outputs may hold a secret: they are created 0600, and what
is half written is removed.
"""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from paperkey_alt.errors import OutputError, SourceError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

STREAM = "-"
LONGEST_KEY_FILE = 16 << 20
LONGEST_SOURCE = 512 << 20
_MODE = 0o600


def read(name: str, longest: int) -> bytes:
    """
    Return the content of the file *name* (``-`` is standard input); raises SourceError, also above
    *longest* bytes.
    """
    try:
        if name == STREAM:
            data = sys.stdin.buffer.read(longest + 1)
        else:
            with Path(name).open("rb") as file:
                data = file.read(longest + 1)
    except IsADirectoryError:
        raise SourceError(
            f"{name} is a folder, not a file", advice="Name the files in it."
        ) from None
    except OSError as error:
        raise SourceError(f"{name} cannot be read: {_reason(error)}") from None
    if len(data) > longest:
        raise SourceError(
            f"{name} is longer than {longest >> 20} MiB; no key and no scan is that long"
        )
    return data


def require_free(names: Iterable[str], *, force: bool) -> None:
    """
    Raise OutputError where one of the output *names* exists and *force* is not set, or where its
    folder is not there.
    """
    for name in names:
        path = Path(name)
        if _is_stream(name):
            continue
        if path.is_dir():
            raise OutputError(f"{name} is a folder", advice="Name a file in it.")
        if not force and os.path.lexists(path):
            raise OutputError(
                f"{name} exists", advice="Choose another name, or say --force to replace it."
            )
        if not path.parent.is_dir():
            raise OutputError(
                f"the folder {path.parent} is not there", advice="Make the folder first."
            )


def make_folder(name: str) -> str:
    """Make the folder *name*, 0700, if it is not there, and return its name; raises OutputError."""
    try:
        Path(name).mkdir(mode=0o700, exist_ok=True)
    except FileExistsError:
        raise OutputError(
            f"{name} is a file", advice="Name a folder: each share goes into a file of its own."
        ) from None
    except OSError as error:
        raise OutputError(f"the folder {name} cannot be made: {_reason(error)}") from None
    return name


def write(contents: Mapping[str, bytes], *, force: bool) -> None:
    """
    Write all of *contents* (name → bytes), 0600, or none of it; ``-``, devices and pipes come last.

    Each file is written under a hidden name beside its own, which it takes only when all are on the
    disk. Raises OutputError.
    """
    require_free(contents, force=force)
    with contextlib.ExitStack() as stack:
        parts = {
            name: _write_part(Path(name), data, stack)
            for name, data in contents.items()
            if not _is_stream(name)
        }
        published: list[Path] = []
        try:
            for name, part in parts.items():
                _publish(part, Path(name), force=force)
                published.append(Path(name))
            for name, data in contents.items():
                if _is_stream(name):
                    _write_stream(name, data)
        except OSError as error:
            for path in () if force else published:
                path.unlink(missing_ok=True)
            raise OutputError(f"the output cannot be written: {_reason(error)}") from None


def append(name: str, row: str) -> None:
    """
    Add *row* to the text file *name*, made 0600 if it is not there, and see to it that it is on the
    disk; raises OutputError.
    """
    try:
        descriptor = os.open(name, os.O_RDWR | os.O_CREAT | os.O_APPEND, _MODE)
        with os.fdopen(descriptor, "rb+", buffering=0) as file:
            # A row that was cut short by a loss of power stays a row by itself.
            size = file.seek(0, os.SEEK_END)
            file.seek(max(0, size - 1))
            begun = b"" if file.read() in (b"", b"\n") else b"\n"
            file.write(begun + f"{row}\n".encode())
            os.fsync(file.fileno())
    except OSError as error:
        raise OutputError(f"{name} cannot be written: {_reason(error)}") from None


def _is_stream(name: str) -> bool:
    """
    Tell whether *name* is standard output, a device or a pipe: nothing that a file could take the
    place of.
    """
    path = Path(name)
    return name == STREAM or (path.exists() and not path.is_file() and not path.is_dir())


def _write_stream(name: str, data: bytes) -> None:
    if name == STREAM:
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
    else:
        with Path(name).open("wb") as stream:
            stream.write(data)


def _write_part(path: Path, data: bytes, stack: contextlib.ExitStack) -> Path:
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _MODE)
        stack.callback(part.unlink, missing_ok=True)
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {_reason(error)}") from None
    return part


def _publish(part: Path, path: Path, *, force: bool) -> None:
    if force:
        part.replace(path)
        return
    try:
        # A link fails where the name has been taken meanwhile; a rename would replace it.
        path.hardlink_to(part)
    except FileExistsError:
        raise
    except OSError:
        # FAT, the usual file system of a USB stick, has no links.
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _MODE))
        part.replace(path)


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()
