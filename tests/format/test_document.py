"""docs/format.md and the code have the same names and the same order."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DOCUMENT = (ROOT / "docs/format.md").read_text("utf-8")
PACKAGE = ROOT / "paperkey_alt"
MODULES = sorted(path for path in (PACKAGE / "format").glob("*.py") if path.stem != "__init__")
SECTIONS = re.findall(r"(?m)^##+ (.+)$", DOCUMENT)


def plain(name):
    """A name without what joins its words, in small letters."""
    return re.sub(r"[^a-z0-9]", "", name.lower())


def italics():
    """The words of the document in italics, code and bold left out."""
    text = re.sub(r"(?m)^    .*$|`[^`]*`", "", DOCUMENT)
    text = re.sub(r"\*\*Kind \d, (\*[^*]+\*)\*\*", r"\1", text)
    text = re.sub(r"\*\*[^*]+\*\*", "", text)
    return set(re.findall(r"\*([^*]+)\*", text))


def names():
    """Every name in the code: of modules, classes, functions, values, and of fields in tables."""
    for path in PACKAGE.rglob("*.py"):
        if "rescue" in path.parts:
            continue
        yield path.stem
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            for part in ("id", "name", "attr", "arg", "value"):
                name = getattr(node, part, None)
                if isinstance(name, str) and name.isidentifier():
                    yield name


def test_words_in_italics_are_names_in_the_code():
    """As the document promises at its head."""
    found = italics()
    assert {"data lines", "secret part", "lean", "set mark"} <= found
    known = set(map(plain, names()))
    assert sorted(word for word in found if plain(word) not in known) == []


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_each_module_names_its_section(path):
    """In its docstring, and the section exists."""
    docstring = " ".join((ast.get_docstring(ast.parse(path.read_text("utf-8"))) or "").split())
    (named,) = re.findall(r"\(docs/format\.md, ([^()]*)\)", docstring)
    sections = re.findall(r'"([^"]+)"', named)
    assert sections
    assert set(sections) <= set(SECTIONS)


def test_the_package_lists_its_modules_in_the_order_of_the_sections():
    """Each module once, under the section that it stands for."""
    listed = ast.get_docstring(ast.parse((PACKAGE / "format/__init__.py").read_text("utf-8")))
    rows = [re.split(r"  +", row.strip()) for row in re.findall(r"(?m)^    (.+)$", listed)]
    places = [SECTIONS.index(section.split(", ")[0]) for section, _ in rows]
    assert places == sorted(places)
    modules = [module for _, several in rows for module in several.split(", ")]
    assert sorted(modules) == [path.stem for path in MODULES]
