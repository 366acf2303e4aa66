"""
Without the program: the restorer that it writes, its print, and the recipe on the sheet followed
with coreutils alone.
"""

import ast
import hashlib
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pypdfium2
import pytest
from desks import CERTIFICATE, KEY, ROOT, SMALL

from paperkey_alt.keys.openpgp import armor

SOURCE = ROOT / "paperkey_alt/rescue/rescue.py"


def test_the_restorer_is_written_and_restores(printed, desk):
    """
    One file, and a key without any of the package: Python is run isolated, in a folder that has
    nothing else.
    """
    desk.take(printed)
    desk.ok("rescue", "-o", "rescue.py")
    command = [
        sys.executable,
        "-I",
        "-S",
        "rescue.py",
        "s.txt",
        "--public",
        CERTIFICATE,
        "-o",
        "key",
    ]
    subprocess.run(command, cwd=desk.folder, check=True, capture_output=True)
    assert desk.read("key") == armor.dearmor(KEY.read_bytes())[0].data


def test_the_page_is_written(desk):
    """
    With or without rescue.py, as it is in the package, and its digest is said; nothing is replaced
    unasked; with no file to write it is wrong use.
    """
    page = SOURCE.with_name("page.html").read_bytes()
    said = desk.ok("rescue", "--page", "rescue.html").err
    assert desk.read("rescue.html") == page
    assert f"SHA-256 of the page: {hashlib.sha256(page).hexdigest()}" in said
    assert desk.run("rescue", "--page", "rescue.html", "-o", "rescue.py").status == 2
    assert not (desk.folder / "rescue.py").exists()
    desk.ok("rescue", "--page", "rescue.html", "-o", "rescue.py", "--force")
    assert desk.read("rescue.py") == SOURCE.read_bytes()
    assert desk.run("rescue").status == 2


def test_a_revocation_comes_back_without_the_program(desk):
    """The signature packet, as it is."""
    desk.ok(
        "revoke-sheet",
        KEY,
        "--reason",
        "none",
        "--passphrase-from",
        "pw",
        "-o",
        "r.pdf",
        "--text",
        "r.txt",
    )
    desk.ok("restore", "r.txt", "-o", "ours", "--binary")
    subprocess.run(
        [sys.executable, "-I", "-S", SOURCE, "r.txt", "-o", "theirs"],
        cwd=desk.folder,
        check=True,
        capture_output=True,
    )
    assert desk.read("theirs") == desk.read("ours")


def test_what_is_promised_of_the_restorer():
    """
    At most 660 rows, the syntax of Python 3.8, nothing imported but the standard library, and
    nothing of this package.
    """
    source = SOURCE.read_text("utf-8")
    assert len(source.splitlines()) <= 660
    tree = ast.parse(source, feature_version=(3, 8))
    imported = {
        name.name for node in ast.walk(tree) if isinstance(node, ast.Import) for name in node.names
    }
    assert imported <= set(sys.stdlib_module_names)
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]


def python_3_8():
    """A Python 3.8, where there is one."""
    found = [
        *Path.home().glob(".pyenv/versions/3.8.*/bin/python"),
        *filter(None, [shutil.which("python3.8")]),
    ]
    works = (
        path
        for path in found
        if subprocess.run([path, "-V"], capture_output=True, check=False).returncode == 0
    )
    return next(works, None)


@pytest.mark.skipif(python_3_8() is None, reason="no Python 3.8 here")
def test_the_restorer_runs_under_python_3_8(desk):
    """Not only its syntax."""
    desk.ok("backup", SMALL, "--whole", "-o", "s.pdf", "--text", "s.txt")
    subprocess.run(
        [python_3_8(), "-I", "-S", SOURCE, "s.txt", "-o", "key"],
        cwd=desk.folder,
        check=True,
        capture_output=True,
    )
    desk.ok("restore", "s.txt", "-o", "ours", "--binary")
    assert desk.read("key") == desk.read("ours")


def test_the_documents_say_its_digest():
    """Who types it from paper, or finds a copy, can tell whether it is the one."""
    digest = hashlib.sha256(SOURCE.read_bytes()).hexdigest()
    assert digest in (ROOT / "docs/rescue.md").read_text("utf-8")


@pytest.mark.long
def test_the_print_of_the_restorer_is_the_restorer(desk):
    """
    The text of the PDF's rows, numbers and checks taken off, is the file; each page names its
    digest.
    """
    desk.ok("rescue", "-o", "rescue.py", "--sheet", "r.pdf")
    rows = []
    for page in pypdfium2.PdfDocument(desk.read("r.pdf")):
        shown = page.get_textpage().get_text_bounded().splitlines()
        # It is printed in groups.
        assert hashlib.sha256(SOURCE.read_bytes()).hexdigest() in "".join(shown[1].split())
        found = (re.match(r"\s*[0-9]+([+-]?)\s+[0-9A-F]{4}(?: (.*)|$)", row) for row in shown[2:])
        for match in filter(None, found):
            # Blanks at the beginning of a row are printed as dots.
            text = (match[2] or "").replace("·", "")
            if match[1]:
                rows[-1] += text
            else:
                rows.append(text)
    # A PDF does not keep blanks as such, so they are left aside.
    squeezed = ["".join(row.split()) for row in rows]
    assert squeezed == ["".join(row.split()) for row in SOURCE.read_text("utf-8").splitlines()]


@pytest.mark.skipif(
    not (shutil.which("base32") and shutil.which("sha256sum")), reason="no coreutils here"
)
def test_the_recipe_on_the_sheet_with_coreutils_alone(desk):
    """
    Followed to the letter: the first 24 characters of the data lines in order, decoded as base32
    (RFC 4648), the padding cut off, the SHA-256 at the end compared, and what the recipe says
    stands before it.
    """
    desk.write("note", "The bell buoy is off station.\n")
    desk.ok("backup", "note", "--plain", "--allow-unprotected", "-o", "s.pdf", "--text", "s.txt")
    recipe = " ".join(
        pypdfium2.PdfDocument(desk.read("s.pdf"))[0].get_textpage().get_text_bounded().split()
    )
    last, size = re.search(
        r"characters of lines 1 to (\d+) in order, .*? to (\d+) bytes", recipe
    ).groups()
    cut = re.search(r"bytes\. Leave out the last (\d+)\.", recipe)
    assert "The last 32 bytes are the SHA-256 of all before them" in recipe
    assert (
        "in order: 1 byte: 4, the kind; 16 bytes: random; 1 byte of length, then: name of the file "
        "(UTF-8); to the end: the file."
    ) in recipe
    script = f"""
        grep -v '^#' s.txt | sed -n 2,{int(last) + 1}p | tr -d ' ' > lines
        sed 's/^[0-9]*\\(.\\{{24\\}}\\).....$/\\1/' lines | tr -d '\\n' | base32 -d > all
        test $(wc -c < all) = {size}
        head -c -{cut[1] if cut else 0} all > body
        head -c -32 body > payload
        digest=$(tail -c 32 body | od -An -v -tx1 | tr -d ' \\n')
        test "$(sha256sum < payload | cut -c-64)" = "$digest"
        test "$(head -c 1 payload | od -An -tx1)" = " 04"
        name=$(tail -c +18 payload | head -c 1 | od -An -tu1)
        tail -c +$((19 + name)) payload > restored
    """
    subprocess.run(["sh", "-eu", "-c", script], cwd=desk.folder, check=True)
    assert desk.read("restored") == desk.read("note")
