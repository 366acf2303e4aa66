"""Imports go one way through the folders of the package."""

import ast
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "paperkey_alt"
MODULES = ("__init__", "foreign_text", "errors", "wording")
FOLDERS = ("format", "keys", "sheet", "reading", "entry", "records", "computer", "cli")
ORDER = (*MODULES, *FOLDERS, "__main__")


def arrows():
    """Each import of ours: the file that imports, and the folder or module it imports from."""
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                assert not node.level, f"{path} imports by a relative name"
                names = [f"{node.module}.{alias.name}" for alias in node.names]
            else:
                continue
            for name in names:
                if name.startswith("paperkey_alt."):
                    yield path.relative_to(PACKAGE), name.split(".")[1]


def test_no_import_runs_back():
    """Each folder knows itself and those before it; rescue shares code with none."""
    for path, target in arrows():
        home = path.parts[0].removesuffix(".py")
        assert "rescue" not in (home, target), f"{path} imports {target}"
        if target in ORDER:  # else it is a name in the package itself, as its version is
            runs_back = ORDER.index(target) > ORDER.index(home)
            assert not runs_back, f"{path} imports {target}, which comes after {home}"
