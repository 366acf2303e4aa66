"""
Plain English in all that a user reads: the worst words, each with the reason, are in no message, no
help and no guide (DEVELOPERS.md, "Plain English").
"""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "paperkey_alt"
# The format has its own words, the claims quote, and the second implementation is another hand's.
NOT_READ = {"docs/format.md", "docs/claims.md"}
GUIDES = sorted(
    path
    for path in (ROOT / "README.md", *(ROOT / "docs").glob("*.md"))
    if str(path.relative_to(ROOT)) not in NOT_READ
)
MODULES = sorted(path for path in PACKAGE.rglob("*.py") if "rescue" not in path.parts)

THINGS = "backups|characters|holders|lines|pages|rows|sets|shares|sheets|warnings"
# what is refused → why, and what to write
REFUSED = {
    r"\b(stands?|stood)\b(?!-alone)": "nothing stands on paper: it is there, is printed, replaces",
    r"\btaken for\b": "says the opposite: read as B, corrected to O",
    r"\bMATTERS\b": "WARNING is the word that people know",
    r"\b[Aa]ny(one|body) who has\b|\bWho has\b": "anyone with it",
    r"\b[Ww]hoever\b": "anyone who",
    r"\b(not known|cannot be known|is unknown here)\b": "cannot tell; Ragleaf does not know",
    rf"\b1 ({THINGS})\b": "one has no plural",
    r"\bsay --": "use --option",
    r"\b(be|being) had\b|\bhad back\b": "get it, get it back",
    r"\bbe (it|there|they)\b": "also if",
    r"\bafresh\b|\bamiss\b|\bthereof\b|\bwherefore\b|\bwhereof\b": "again; wrong; of it",
    r"\bcannot be told\b|\bis not told\b": "cannot tell",
    r"\bis gone on with\b|\bare gone on with\b": "you go on with it",
    r"\bdealt into\b": "split into",
    r"\bsaid\b": "what is printed or written is there; Ragleaf says",
    r"\bthere is known\b|\bas it stood\b": "as it was",
}


def read_by_users(path):
    """
    The strings of a module that a user may read, with their rows: all but docstrings, of which
    those of commands are their help, and but what is no sentence. Values in a string are ``{}``.
    """
    tree = ast.parse(path.read_text("utf-8"))
    parts = {
        id(part)
        for node in ast.walk(tree)
        if isinstance(node, ast.JoinedStr)
        for part in ast.walk(node)
        if part is not node
    }
    helps = {id(text) for node in ast.walk(tree) if (text := help_text(node)) is not None}
    bare = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if id(node) in parts | (bare - helps):
            continue
        if isinstance(node, ast.JoinedStr):
            text = "".join(
                part.value if isinstance(part, ast.Constant) else "{}" for part in node.values
            )
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        else:
            continue
        if " " in text.strip():
            yield node.lineno, " ".join(text.split())


def help_text(node):
    """The docstring of a command, which is its help; None for all else."""
    if any(
        ".command(" in ast.unparse(one) or ".group(" in ast.unparse(one)
        for one in getattr(node, "decorator_list", ())
    ):
        return node.body[0].value
    return None


def flaws(text):
    """What is refused in a text, and why."""
    return [
        f"{found[0]!r} ({why})"
        for words, why in REFUSED.items()
        if (found := re.search(words, text)) is not None
    ]


def test_messages_and_help():
    """Every string of the package that a user may read."""
    found = [
        f"{path.relative_to(ROOT)}:{row}: {flaw}"
        for path in MODULES
        for row, text in read_by_users(path)
        for flaw in flaws(text)
    ]
    assert found == []


@pytest.mark.parametrize("path", GUIDES, ids=lambda path: path.stem)
def test_guides(path):
    """Every row of the guides, what is code left out."""
    shown = re.sub(r"(?ms)^ *```.*?^ *```$|`[^`\n]*`", "", path.read_text("utf-8"))
    assert [flaw for row in shown.splitlines() for flaw in flaws(row)] == []


def test_what_users_read_is_collected():
    """Messages, advice, help and values in them; no docstring but a command's."""
    texts = {text for path in MODULES for _, text in read_by_users(path)}
    assert "Check the name and the file, and try again." in texts
    assert "{}: read as {}, corrected to {}" in " ".join(texts).replace("character {}: ", "{}: ")
    assert any(text.startswith("Rebuild the key from its sheets") for text in texts)
    assert not any("Return the" in text for text in texts)
