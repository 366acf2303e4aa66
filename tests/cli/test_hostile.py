"""
Files that are made to take memory or time, through the command: whatever they hold, it ends within
20 s of CPU and 1 GiB, and says which limit there is.
"""

import json
import sys

import pytest
from desks import CERTIFICATE, SMALL, SMALL_CERTIFICATE
from hostile import (
    ADDITIONS,
    LABELS,
    base64_text,
    crowded_page,
    heads_and_junk,
    jbig2_pdf,
    nested_pdf,
    png_bomb,
    tiff_bomb,
    with_additions,
)
from samples import binary

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="limits of processes")
SECONDS, MEBIBYTES = 20, 1024
STARTING = 2  # seconds in which the command loads and says how it ended
# Runs the command and tells what it and its processes took.
MEASURE = """
import json, resource, subprocess, sys
status = subprocess.run([sys.executable, "-m", "paperkey_alt", *sys.argv[1:]]).returncode
used = resource.getrusage(resource.RUSAGE_CHILDREN)
with open("used.json", "w") as file:
    json.dump([used.ru_utime + used.ru_stime, used.ru_maxrss >> 10], file)
sys.exit(status)
"""


def run(desk, *arguments):
    """Run the command; return how it ended, and check what it took."""
    done = desk.run(*arguments, command=(sys.executable, "-c", MEASURE))
    seconds, mebibytes = json.loads(desk.read("used.json"))
    assert seconds < SECONDS + STARTING, done.err
    assert mebibytes <= MEBIBYTES, done.err
    return done


REFUSED = {
    "nested.pdf": (nested_pdf, "1024 MiB of memory, which is the limit"),
    "jbig2.pdf": (jbig2_pdf, "more than 8 s to decode, which is the limit"),
    "frames.tif": (tiff_bomb, "the limit"),
    "heads.txt": (heads_and_junk, ""),
    "base64.txt": (lambda: base64_text(60 << 20), "a million characters, the limit"),
}


# Those that come to a limit of time before they are refused, or near it.
LONG = ("nested.pdf", "jbig2.pdf", "frames.tif", "heads.txt")


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=[pytest.mark.long] * (name in LONG)) for name in REFUSED],
)
def test_a_file_made_to_take_much_is_refused_within_the_limits(desk, name):
    """Nested forms, JBIG2, frames, heads of many sets and endless text: a sentence, no key."""
    make, why = REFUSED[name]
    desk.write(name, make())
    done = run(desk, "restore", name, "-o", "k.asc", "--public", CERTIFICATE)
    assert done.status == (2 if name == "heads.txt" else 1)  # 2: a set is to be chosen
    assert "ragleaf: " in done.err
    assert why in done.err
    assert "k.asc" not in desk.files()


@pytest.mark.long
@pytest.mark.parametrize("make", [png_bomb, crowded_page])
def test_a_picture_at_the_limit_is_read_within_the_limits(desk, make):
    """As many pixels as may be, and thousands of QR symbols: nothing is found, and it is said."""
    desk.write("page.png", make())
    done = run(desk, "check", "page.png")
    assert done.status == 1
    assert "ragleaf: " in done.err


@pytest.mark.long
def test_a_hostile_file_beside_the_sheets_does_not_crash_the_command(desk, printed):
    """The one that is hostile is named."""
    desk.take(printed)
    desk.write("nested.pdf", nested_pdf())
    done = run(desk, "restore", "s.txt", "nested.pdf", "-o", "k.asc", "--public", CERTIFICATE)
    assert done.status == 1
    assert "nested.pdf" in done.err


def test_a_seal_without_memory_for_it_is_told(desk):
    """Where the system gives less memory than the seal needs: a sentence, no traceback."""
    desk.ok("backup", SMALL, "--seal", "--passphrase-from", "pw", "-o", "s.pdf", "--text", "s.txt")
    limit = (
        "import resource, runpy, sys; import paperkey_alt.cli.restore_command\n"
        "import paperkey_alt.format.seal, paperkey_alt.keys.openpgp.unlocked\n"
        "with open('/proc/self/statm') as file: pages = int(file.read().split()[0])\n"
        "most = pages * resource.getpagesize() + (48 << 20)\n"
        "resource.setrlimit(resource.RLIMIT_AS, (most, most))\n"
        "from paperkey_alt.__main__ import main; main()"
    )
    done = desk.run(
        "restore", "s.txt", "-o", "k.asc", "--public", SMALL_CERTIFICATE, "--passphrase-from", "pw",
        command=(sys.executable, "-c", limit),
    )  # fmt: skip
    assert done.status in (1, 2)
    assert "memory" in done.err
    assert "k.asc" not in desk.files()


@pytest.mark.long
@pytest.mark.parametrize("place", ADDITIONS)
def test_a_certificate_that_anyone_added_to_restores_the_key(desk, printed, place):
    """Rows of every kind of file, unsigned, in the certificate: the key comes back with them."""
    desk.take(printed)
    texts = [b"\n" + label + b"\n" for label in LABELS]
    certificate = with_additions(binary(CERTIFICATE), place, texts)
    desk.write("cert.bin", certificate)
    desk.ok("restore", "s.txt", "-o", "k.bin", "--binary", "--public", "cert.bin")
    assert all(label in desk.read("k.bin") for label in LABELS)
    desk.ok("backup", "k.bin", "-o", "again.pdf", "--text", "again.txt")
    desk.ok("restore", "again.txt", "-o", "k2.bin", "--binary", "--public", "cert.bin")
    assert desk.read("k2.bin") == desk.read("k.bin")
