"""
Whether a computer is fit for handling a secret key: `observe` a `System`.

A system is given as what its files say, so that nothing is opened here; what could not be read is
None, and Ragleaf says that it cannot tell. The files are those of Linux: proc(5), sysfs(5),
utmp(5).
"""

from __future__ import annotations

import datetime as dt
import struct
from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

# No computer that runs this version has a clock that is right and earlier.
RELEASED = dt.datetime(2026, 11, 1, tzinfo=dt.UTC)

_IFF_UP, _IFF_LOOPBACK = 0x1, 0x8  # netdevice(7)
# utmp(5): a type of record, and a record: type, pid, line, id, user, host, and what is not needed.
_USER_PROCESS = 7
_UTMP = struct.Struct("<hxxi32s4s32s256s52x")
_NETWORK = frozenset(
    (
        "nfs",
        "nfs4",
        "cifs",
        "smb3",
        "smbfs",
        "ncpfs",
        "9p",
        "afs",
        "ceph",
        "glusterfs",
        "virtiofs",
        "fuse.sshfs",
        "davfs",
    )
)

# That write what changes to another place, as logs or copies on write: what was there may stay.
_COPYING = frozenset(("btrfs", "bcachefs", "f2fs", "nilfs2", "zfs"))
_UNNAMED_DEVICE = "0:"  # of a file system whose mount does not tell its device by a number


class Weight(Enum):
    """How much an observation matters, and the word for it. The weightiest comes first."""

    WARNING = "WARNING"
    NOTE = "note"
    UNKNOWN = "cannot tell"


@dataclass(frozen=True)
class Observation:
    """What was found of a computer, why it matters, and how to mend it."""

    weight: Weight
    what: str
    why: str
    mend: str


@dataclass(frozen=True)
class System:
    """
    What the files of a system say; None for what cannot be read there.

    *interfaces*: name → flags (netdevice(7)). *routes*, *routes6*, *swaps*, *mounts*:
    /proc/net/route, /proc/net/ipv6_route, /proc/swaps, /proc/self/mountinfo. *encrypted*: swap
    devices that are encrypted or in memory. *core_limit*: RLIMIT_CORE in bytes, -1 for none;
    *core_pattern*: /proc/sys/kernel/core_pattern. *removable*: device numbers ("8:1") of removable
    media. *logins*: the utmp file; *user*: who runs this. *now*: the instant by the clock, in the
    time zone in which instants are told.
    """

    now: dt.datetime
    user: str = ""
    interfaces: Mapping[str, int] | None = None
    routes: str | None = None
    routes6: str | None = None
    swaps: str | None = None
    encrypted: frozenset[str] = field(default_factory=frozenset)
    core_limit: int | None = None
    core_pattern: str | None = None
    mounts: str | None = None
    removable: frozenset[str] | None = field(default_factory=frozenset)
    logins: bytes | None = None


def observe(
    system: System, folder: str | None = None, created: dt.datetime | None = None
) -> tuple[Observation, ...]:
    """
    Return what is to be said of *system*: the weighty first. *folder* is the absolute name of where
    outputs go, *created* the instant at which a key was made.
    """
    observations = [
        *_network(system),
        *_swap(system),
        *_core_dumps(system),
        *_clock(system, created),
        *(_folder(system, folder) if folder else ()),
        *_others(system),
    ]
    order = list(Weight)
    return tuple(sorted(observations, key=lambda observation: order.index(observation.weight)))


def weighty(observations: Iterable[Observation]) -> tuple[Observation, ...]:
    """Return those of *observations* that matter."""
    return tuple(seen for seen in observations if seen.weight is Weight.WARNING)


def _unknown(what: str) -> Observation:
    return Observation(
        Weight.UNKNOWN,
        what,
        "This system does not show it to Ragleaf.",
        "Check it yourself.",
    )


def _network(system: System) -> Iterator[Observation]:
    why = "A connected computer can be reached from outside, and can send a key away."
    mend = "Take out the cable, switch off Wi-Fi and Bluetooth, and check again."
    if system.interfaces is None:
        yield _unknown("whether a network is connected")
        return
    flags = system.interfaces
    up = sorted(name for name, bits in flags.items() if bits & _IFF_UP and not bits & _IFF_LOOPBACK)
    if up:
        yield Observation(Weight.WARNING, f"network interfaces are up: {', '.join(up)}", why, mend)
    down = sorted(name for name, bits in flags.items() if not bits & (_IFF_UP | _IFF_LOOPBACK))
    if down:
        yield Observation(
            Weight.NOTE,
            f"these network interfaces are off now: {', '.join(down)}",
            "They can be switched on.",
            mend,
        )
    routed = sorted(_default_routes(system))
    if routed:
        yield Observation(
            Weight.WARNING, f"there is a default route to a network: {', '.join(routed)}", why, mend
        )


def _default_routes(system: System) -> set[str]:
    """
    Return the interfaces with a route to everywhere: in /proc/net/route one whose destination and
    mask are 0 (fields 1 and 7), in /proc/net/ipv6_route one whose destination and prefix length are
    (fields 0 and 1; 9 is the interface).
    """
    rows = [row.split() for row in (system.routes or "").splitlines()[1:]]
    rows6 = [row.split() for row in (system.routes6 or "").splitlines()]
    by_ipv4 = {row[0] for row in rows if len(row) > 7 and row[1] == row[7] == "00000000"}
    by_ipv6 = {
        row[9]
        for row in rows6
        if len(row) > 9 and row[0] == "0" * 32 and row[1] == "00" and row[9] != "lo"
    }
    return by_ipv4 | by_ipv6


def _swap(system: System) -> Iterator[Observation]:
    if system.swaps is None:
        yield _unknown("whether memory is written to a disk (swap)")
        return
    rows = [row.split() for row in system.swaps.splitlines()[1:]]
    open_ = [row[0] for row in rows if row and row[0] not in system.encrypted]
    if open_:
        what = f"memory may be written to a disk unencrypted: {', '.join(open_)}"
        yield Observation(
            Weight.WARNING,
            what,
            "A secret in memory can stay there.",
            "Switch swap off (swapoff -a), or encrypt it.",
        )


def _core_dumps(system: System) -> Iterator[Observation]:
    if system.core_limit is None:
        yield _unknown("whether the memory of a failing program is written to a file (core dump)")
        return
    is_piped = (system.core_pattern or "").startswith("|")
    if system.core_limit != 0 or is_piped:
        where = "handed to another program" if is_piped else "written to a file"
        what = f"the memory of a failing program is {where} (core dump)"
        rest = (
            ", and as root sysctl kernel.core_pattern=core." if is_piped else " in this terminal."
        )
        mend = f"Run ulimit -c 0{rest}"
        yield Observation(Weight.WARNING, what, "It may hold the key and its passphrase.", mend)


def _clock(system: System, created: dt.datetime | None) -> Iterator[Observation]:
    why = "The dates of signatures, revocations and sheets come from it."
    mend = "Set the clock by a watch, then continue."
    clock = f"the clock shows {_told(system.now, system)}"
    if system.now < RELEASED:
        what = f"{clock}, which is before this program was made ({_told(RELEASED, system)})"
        yield Observation(Weight.WARNING, what, why, mend)
    elif created is not None and system.now < created:
        what = f"{clock}, which is before the key was made ({_told(created, system)})"
        yield Observation(Weight.WARNING, what, why, mend)
    else:
        what = f"{clock}; a computer that was never online cannot set it by itself"
        yield Observation(Weight.NOTE, what, why, "Compare it with a watch.")


def _told(instant: dt.datetime, system: System) -> str:
    """Return *instant* as a watch beside the computer shows it, and by how much that is not UTC."""
    return instant.astimezone(system.now.tzinfo).isoformat(" ", "minutes")


def _folder(system: System, folder: str) -> Iterator[Observation]:
    if system.mounts is None:
        yield _unknown(f"what kind of file system {folder} is on")
        return
    fields = [row.split() for row in system.mounts.splitlines()]
    mounts = {
        _unescaped(row[4]): (row[2], row[row.index("-") + 1])
        for row in fields
        if "-" in row and len(row) > 6
    }
    holding = [
        point for point in mounts if folder == point or folder.startswith(point.rstrip("/") + "/")
    ]
    if not holding:
        yield _unknown(f"what kind of file system {folder} is on")
        return
    device, kind = mounts[max(holding, key=len)]
    if kind in _NETWORK:
        what = f"{folder} is on a network file system ({kind})"
        yield Observation(
            Weight.WARNING,
            what,
            "The sheets go over the network and stay on another computer.",
            "Write them to memory (/dev/shm).",
        )
        return
    if system.removable is not None and device in system.removable:
        what = f"{folder} is on a stick, a card or another removable medium"
        why = "Erased files may stay there, and anyone with the medium has the sheets."
        yield Observation(
            Weight.WARNING,
            what,
            why,
            "Write them to memory (/dev/shm), or destroy the medium afterwards.",
        )
        return
    if system.removable is None:
        yield _unknown(f"whether {folder} is on a removable medium")
    if kind in _COPYING:
        yield _copying(folder, kind, device)


def _copying(folder: str, kind: str, device: str) -> Observation:
    why = "What you erase or replace there may stay."
    if device.startswith(_UNNAMED_DEVICE):
        why += " Ragleaf cannot tell whether it is on a stick or a card."
    return Observation(
        Weight.NOTE,
        f"{folder} is on a file system that writes changes to another place ({kind})",
        why,
        "Write the sheets to memory (/dev/shm).",
    )


def _unescaped(name: str) -> str:
    for code, character in (("\\040", " "), ("\\011", "\t"), ("\\012", "\n"), ("\\134", "\\")):
        name = name.replace(code, character)
    return name


def _others(system: System) -> Iterator[Observation]:
    if system.logins is None:
        yield _unknown("whether others are logged in")
        return
    size = _UTMP.size
    records = [
        _UTMP.unpack(system.logins[at : at + size])
        for at in range(0, len(system.logins) - size + 1, size)
    ]
    users = {
        record[4].rstrip(b"\0").decode(errors="replace")
        for record in records
        if record[0] == _USER_PROCESS
    }
    others = sorted(users - {system.user})
    if others:
        what = f"others are logged in: {', '.join(others)}"
        yield Observation(
            Weight.WARNING,
            what,
            "They may see memory, files or the screen.",
            "Ask them to leave, or work alone.",
        )
