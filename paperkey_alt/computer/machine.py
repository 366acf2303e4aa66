"""
The computer at hand, as `paperkey_alt.computer.preflight` wants it: `look`; the instant by its
clock: `now`, and the date: `today`. Reads files of the system and runs nothing.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import getpass
import os
import re
import socket
import sys
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from paperkey_alt.computer.preflight import System

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

_PROC, _SYS = Path("/proc"), Path("/sys")
_LOGINS = (Path("/run/utmp"), Path("/var/run/utmp"))


def now() -> dt.datetime:
    """Return the instant by the computer's clock, in its time zone."""
    return dt.datetime.now().astimezone()


def today() -> dt.date:
    """Return the date by the computer's clock, in its time zone."""
    return now().date()


def look() -> System:
    """
    Return what can be known of this computer without being root; of systems other than Linux the
    clock and little else.
    """
    logins = next((path for path in _LOGINS if path.exists()), _LOGINS[0])
    return System(
        now=now(),
        user=_user(),
        interfaces=_read(_interfaces),
        routes=_text(_PROC / "net/route"),
        routes6=_text(_PROC / "net/ipv6_route"),
        swaps=_text(_PROC / "swaps"),
        encrypted=_read(lambda: frozenset(_encrypted())) or frozenset(),
        core_limit=_core_limit(),
        core_pattern=_text(_PROC / "sys/kernel/core_pattern"),
        mounts=_text(_PROC / "self/mountinfo"),
        removable=_read(lambda: frozenset(_removable())),
        logins=_read(logins.read_bytes),
    )


_T = TypeVar("_T")


def _read(reader: Callable[[], _T]) -> _T | None:
    try:
        return reader()
    except OSError:
        return None


def _text(path: Path) -> str | None:
    return _read(lambda: path.read_text(errors="replace"))


def _user() -> str:
    try:
        return getpass.getuser()
    except (ImportError, OSError, KeyError):
        return ""


def _interfaces() -> Mapping[str, int]:
    """
    Return the flags of the network interfaces by name, of this process's network namespace
    (netdevice(7)).
    """
    if sys.platform != "linux":
        raise OSError("no such call here")
    import fcntl  # noqa: PLC0415 - not there on every system

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as any_socket:
        names = [name for _, name in socket.if_nameindex()]
        answers = (
            fcntl.ioctl(any_socket, _SIOCGIFFLAGS, name.encode().ljust(_IFREQ, b"\0"))
            for name in names
        )
        return {
            name: int.from_bytes(answer[_IFR_FLAGS], sys.byteorder)
            for name, answer in zip(names, answers, strict=True)
        }


# netdevice(7), ioctl_list(2): the call, the size of the ifreq that it fills, and in that the flags,
# behind 16 bytes of name.
_SIOCGIFFLAGS, _IFREQ, _IFR_FLAGS = 0x8913, 40, slice(16, 18)


def _encrypted() -> Iterator[str]:
    """Yield devices of which what is written is encrypted, or stays in memory."""
    for path in (_SYS / "block").iterdir():
        uuid = path / "dm/uuid"
        if path.name.startswith("zram") or (
            uuid.exists() and uuid.read_text().startswith("CRYPT-")
        ):
            yield f"/dev/{path.name}"


def _removable() -> Iterator[str]:
    """
    Yield the numbers of removable devices and of their partitions, and of what is made of them, as
    an encrypted device is; what hangs on USB and SD cards count, whatever they say of themselves.
    """
    for path in (_SYS / "block").iterdir():
        if _is_removable(path):
            yield from (
                number.read_text().strip() for number in (path / "dev", *path.glob("*/dev"))
            )


def _is_removable(path: Path) -> bool:
    """Tell whether the device or partition *path* is on a medium that can be taken away."""
    device = path.resolve()
    disk = device.parent if (device / "partition").exists() else device
    card = disk / "device/type"
    return (
        "/usb" in str(device)
        or (disk / "removable").read_text().strip() == "1"
        or (card.exists() and card.read_text().strip() == "SD")
        or any(map(_is_removable, (device / "slaves").glob("*")))
    )


def _core_limit() -> int | None:
    """
    Return the limit that other programs have which are started beside this one, for this one has
    set its own to 0: that of the parent process, where the system tells it.
    """
    if sys.platform == "win32":
        return None
    limits = _text(_PROC / str(os.getppid()) / "limits") or ""
    beside = re.search(r"^Max core file size +([0-9]+|unlimited)", limits, re.MULTILINE)
    if beside:
        return -1 if beside[1] == "unlimited" else int(beside[1])
    with contextlib.suppress(ImportError, OSError):
        import resource  # noqa: PLC0415 - not there on every system

        return resource.getrlimit(resource.RLIMIT_CORE)[0]
    return None
