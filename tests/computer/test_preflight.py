"""
Whether a computer is fit: each finding, from what files of a system say, as proc(5), sysfs(5) and
utmp(5) have them.
"""

import datetime as dt
import struct

import pytest

from paperkey_alt.computer import machine, preflight
from paperkey_alt.computer.preflight import RELEASED, System, Weight

ROUTES = "Iface\tDestination\tGateway\tFlags\tRefCnt\tUse\tMetric\tMask\t\tMTU\tWindow\tIRTT\n"
LOCAL = "eth0\t0000A8C0\t00000000\t0001\t0\t0\t0\t00FFFFFF\t0\t0\t0\n"
DEFAULT = "eth0\t00000000\t0100A8C0\t0003\t0\t0\t0\t00000000\t0\t0\t0\n"
DEFAULT6 = (
    f"{'0' * 32} 00 {'0' * 32} 00 fe8000000000000000000000000000001 00000400 00000001 00000000 "
    "00000003     eth0\n"
)
UNREACHABLE6 = (
    f"{'0' * 32} 00 {'0' * 32} 00 {'0' * 32} ffffffff 00000001 00000000 00200200       lo\n"
)
SWAPS = "Filename\t\t\t\tType\t\tSize\t\tUsed\t\tPriority\n"
MOUNTS = """22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
30 22 8:17 / /media/stick rw - vfat /dev/sdb1 rw
31 22 0:40 / /home/k/far\\040away rw - nfs4 host:/share rw
32 22 0:41 / /dev/shm rw - tmpfs tmpfs rw
"""


def login(user, kind=7):
    """A record of the utmp file."""
    return struct.pack("<hxxi32s4s32s256s52x", kind, 42, b"tty1", b"1", user, b"")


def system(**others):
    """A system about which there is nothing to say, but for *others*."""
    fit = {
        "now": RELEASED + dt.timedelta(days=30),
        "user": "keeper",
        "interfaces": {"lo": 0x9},
        "routes": ROUTES,
        "routes6": UNREACHABLE6,
        "swaps": SWAPS,
        "core_limit": 0,
        "core_pattern": "core\n",
        "mounts": MOUNTS,
        "removable": frozenset({"8:16", "8:17"}),
        "logins": login(b"keeper") + login(b"", kind=2),
    }
    return System(**(fit | others))


def weighty(one, *arguments):
    """What matters of a system."""
    return [seen.what for seen in preflight.weighty(preflight.observe(one, *arguments))]


def test_a_fit_computer_has_no_finding_that_matters():
    """All that is said is to compare the clock."""
    found = preflight.observe(system(), "/dev/shm")
    assert [(one.weight, one.what.split(" shows")[0]) for one in found] == [
        (Weight.NOTE, "the clock")
    ]


WEIGHTY = {
    "an interface is up": (
        system(interfaces={"lo": 0x9, "wlan0": 0x1003}),
        (),
        "interfaces are up: wlan0",
    ),
    "a default route": (
        system(routes=ROUTES + LOCAL + DEFAULT),
        (),
        "default route to a network: eth0",
    ),
    "a default route of IPv6": (
        system(routes6=DEFAULT6 + UNREACHABLE6),
        (),
        "default route to a network: eth0",
    ),
    "a swap partition": (
        system(swaps=SWAPS + "/dev/sda2 partition 8388604 0 -2\n"),
        (),
        "unencrypted: /dev/sda2",
    ),
    "a swap file": (
        system(swaps=SWAPS + "/swapfile file 2097148 0 -3\n"),
        (),
        "unencrypted: /swapfile",
    ),
    "core dumps to a file": (system(core_limit=-1), (), "written to a file"),
    "core dumps to a program": (
        system(core_pattern="|/usr/share/crash %p"),
        (),
        "handed to another program",
    ),
    "a clock from before this program": (
        system(now=dt.datetime(2000, 1, 1, tzinfo=dt.UTC)),
        (),
        "before this program was made",
    ),
    "a clock from before the key": (
        system(),
        (None, dt.datetime(2030, 1, 1, tzinfo=dt.UTC)),
        "before the key was made",
    ),
    "a stick": (system(), ("/media/stick/out",), "removable medium"),
    "a file system in the network": (
        system(),
        ("/home/k/far away",),
        "is on a network file system (nfs4)",
    ),
    "another user": (system(logins=login(b"keeper") + login(b"pilot")), (), "logged in: pilot"),
}


@pytest.mark.parametrize("name", WEIGHTY)
def test_what_matters(name):
    """One finding, with why it matters and how to mend it."""
    one, arguments, said = WEIGHTY[name]
    (what,) = weighty(one, *arguments)
    assert said in what
    assert all(seen.why and seen.mend for seen in preflight.observe(one, *arguments))


NO_MATTER = {
    "an interface that is down": (system(interfaces={"lo": 0x9, "eth0": 0x1002}), ()),
    "a route to the next house": (system(routes=ROUTES + LOCAL), ()),
    "encrypted swap": (
        system(
            swaps=SWAPS + "/dev/dm-1 partition 8388604 0 -2\n", encrypted=frozenset({"/dev/dm-1"})
        ),
        (),
    ),
    "the root of the disk": (system(), ("/",)),
    "a folder with a like name": (system(), ("/media/sticks",)),
    "a key made at this instant": (system(), (None, RELEASED + dt.timedelta(days=30))),
}


@pytest.mark.parametrize("name", NO_MATTER)
def test_what_does_not_matter(name):
    """No false alarm."""
    one, arguments = NO_MATTER[name]
    assert weighty(one, *arguments) == []


def test_what_cannot_be_known_is_said_to_be_unknown():
    """
    On a system that says nothing, everything but the clock is unknown, and nothing is called fine.
    """
    found = preflight.observe(System(now=RELEASED), "/out")
    assert [one.weight for one in found] == [Weight.NOTE, *[Weight.UNKNOWN] * 5]
    assert sum("Check it yourself" in one.mend for one in found) == 5


@pytest.mark.parametrize(
    ("files", "numbers"),
    [
        ({"sda/removable": "0\n"}, set()),
        ({"sdb/removable": "1\n", "sdb/sdb1/dev": "8:17\n"}, {"8:0", "8:17"}),
        ({"mmcblk0/removable": "0\n", "mmcblk0/device/type": "SD\n"}, {"8:0"}),
        ({"mmcblk0/removable": "0\n", "mmcblk0/device/type": "MMC\n"}, set()),
    ],
)
def test_what_is_removable(tmp_path, monkeypatch, files, numbers):
    """Sticks, cards, and what is encrypted on them; no fixed disk."""
    for name, content in files.items():
        path = tmp_path / "block" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content)
    (disk,) = (tmp_path / "block").iterdir()
    (disk / "dev").write_text("8:0\n")
    mapped = tmp_path / "block/dm-0"
    (mapped / "slaves").mkdir(parents=True)
    (mapped / "removable").write_text("0\n")
    (mapped / "dev").write_text("253:0\n")
    below = disk / "sdb1" if (disk / "sdb1").exists() else disk
    if below != disk:
        (below / "partition").write_text("1\n")
    (mapped / "slaves" / below.name).symlink_to(below)
    monkeypatch.setattr(machine, "_SYS", tmp_path)
    assert machine.look().removable == (numbers | {"253:0"} if numbers else set())


@pytest.mark.parametrize("kind", ["btrfs", "bcachefs", "f2fs", "nilfs2", "zfs"])
@pytest.mark.parametrize("device", ["8:2", "0:44", "8:17"])
def test_a_file_system_that_keeps_what_is_erased(kind, device):
    """
    It is said that it may; where the mount tells no device, also that it may be a stick. Of a stick
    the warning says it.
    """
    mounts = f"{MOUNTS}33 22 {device} / /out rw - {kind} /dev/sdb1 rw\n"
    seen = preflight.observe(system(mounts=mounts), "/out/sheets")
    (observed,) = (each for each in seen if "/out/sheets" in each.what)
    assert "may stay" in observed.why
    assert "/dev/shm" in observed.mend
    is_stick = device == "8:17"
    assert (observed.weight is Weight.WARNING) is is_stick
    assert (f"({kind})" in observed.what) is not is_stick
    assert ("cannot tell whether it is on a stick" in observed.why) is (device == "0:44")


def test_a_medium_of_which_nothing_is_told():
    """Whether it can be taken away is not known, and that is said."""
    seen = preflight.observe(system(removable=None), "/dev/shm")
    told = [one.what for one in seen if one.weight is Weight.UNKNOWN]
    assert told == ["whether /dev/shm is on a removable medium"]
