"""
What Ragleaf is made of and installed with: the lists of wheels with their hashes, the scripts that
take no other, the lower bounds, and the archives that are the same bytes whenever they are built.
"""

import hashlib
import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile

import lowest
import pytest
from desks import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
SCRIPTS = ("fetch_wheels.sh", "make_wheels.sh")
ROW = re.compile(r"([0-9a-f]{64})  (([A-Za-z0-9_]+)-([0-9.]+)-.+\.whl)")


def release(version):
    """The numbers of a version, to compare it with another one."""
    return tuple(map(int, version.split(".")))


def listed(name):
    """What a list in docs names: hash, file, package and version of each row."""
    rows = (ROOT / "docs" / name).read_text().splitlines()
    return [ROW.fullmatch(row).groups() for row in rows if not row.startswith("#")]


@pytest.mark.parametrize("name", ["wheels.sha256", "build.sha256"])
def test_a_list_is_sorted_and_names_each_file_once_and_one_version_of_each_package(name):
    """So that a row that is added, or changed, is seen for what it is."""
    files = [file for _, file, _, _ in listed(name)]
    assert files == sorted(set(files))
    versions = {(package, version) for _, _, package, version in listed(name)}
    assert len(versions) == len({package for package, _ in versions})


def test_the_list_names_all_dependencies_within_their_bounds():
    """The direct ones, with the extras; what those need in turn pip tells when a folder is made."""
    versions = {package: version for _, _, package, version in listed("wheels.sha256")}
    for pin in lowest.pins(PROJECT["project"]):
        package, least = pin.split("==")
        assert release(versions[package.replace("-", "_")]) >= release(least)


def test_the_build_backend_is_the_one_that_is_listed():
    """The version in pyproject, and no other requirement."""
    versions = {package: version for _, _, package, version in listed("build.sha256")}
    assert PROJECT["build-system"]["requires"] == [f"hatchling=={versions['hatchling']}"]


def make_wheel(folder, name, version, needs="", tag="py3-none-any"):
    """A wheel that is valid and empty; its path."""
    wheel = folder / f"{name}-{version}-{tag}.whl"
    about = f"{name}-{version}.dist-info"
    extras = "".join(f"Provides-Extra: {extra}\n" for extra in ("scan", "typing"))
    metadata = f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n{extras}{needs}"
    with zipfile.ZipFile(wheel, "w") as archive:
        archive.writestr(f"{about}/METADATA", metadata)
        archive.writestr(f"{about}/WHEEL", "Wheel-Version: 1.0\nTag: py3-none-any\n")
        archive.writestr(f"{about}/RECORD", "")
    return wheel


def row_of(wheel):
    """The row that a list has for this wheel."""
    return f"{hashlib.sha256(wheel.read_bytes()).hexdigest()}  {wheel.name}\n"


class Source:
    """
    A source with the scripts, a build that gives a wheel which needs *buoy*, and a list that names
    one wheel of it; a registry that is a folder, with a newer buoy that nobody listed.
    """

    def __init__(self, folder):
        self.docs, self.registry = folder / "docs", folder / "registry"
        self.docs.mkdir()
        self.registry.mkdir()
        for script in SCRIPTS:
            shutil.copy(ROOT / "docs" / script, self.docs)
        own = make_wheel(folder, "ragleaf", "0.1.0", "Requires-Dist: buoy>=1\n")
        (self.docs / "build.sh").write_text(f'mkdir "$1" && cp {own} "$1"\n')
        make_wheel(self.registry, "buoy", "2.0")
        self.wheel = make_wheel(self.registry, "buoy", "1.0")
        self.list = self.docs / "wheels.sha256"
        self.list.write_text(f"# A remark.\n{row_of(self.wheel)}")

    def run(self, script, *arguments):
        """How a script ended that has nothing but the folder for a registry."""
        environment = os.environ | {
            "PIP_CONFIG_FILE": os.devnull,
            "PIP_NO_INDEX": "1",
            "PIP_FIND_LINKS": str(self.registry),
            "PYTHON": sys.executable,
        }
        command = ["sh", self.docs / script, *arguments]
        return subprocess.run(command, env=environment, capture_output=True, text=True, check=False)

    def fetch(self, folder):
        """How the download into this folder ended."""
        return self.run("fetch_wheels.sh", sys.executable, self.list, folder)


@pytest.fixture
def source(tmp_path):
    """The source and its registry."""
    return Source(tmp_path)


def test_what_is_listed_is_fetched(source, tmp_path):
    """The version that is listed, and not the newest."""
    done = source.fetch(tmp_path / "fetched")
    assert done.returncode == 0, done.stderr
    assert [path.name for path in (tmp_path / "fetched").iterdir()] == [source.wheel.name]


def swap(source):
    """Another wheel under the name of the one that is listed."""
    with zipfile.ZipFile(source.wheel, "a") as archive:
        archive.writestr("buoy.py", "print('adrift')")


def change_the_list(source):
    """Another hash for the wheel that is there."""
    source.list.write_text(f"{'0' * 64}  {source.wheel.name}\n")


def leave_a_hash_in_a_remark(source):
    """A remark names the wheel; no row does."""
    source.list.write_text(f"# {row_of(source.wheel)}{'0' * 64}  {source.wheel.name}\n")


def offer_another_build(source):
    """A wheel of the same version with a build number, which pip prefers."""
    make_wheel(source.registry, "buoy", "1.0", tag="7-py3-none-any")


def offer_another_platform(source):
    """Only a wheel for another Python than the listed one."""
    source.wheel.rename(source.registry / "buoy-1.0-py2.py3-none-any.whl")


def withdraw(source):
    """Nothing of the version that is listed."""
    source.wheel.unlink()


def list_nothing(source):
    """A list of remarks alone."""
    source.list.write_text("# A remark.\n")


REFUSED = {
    swap: "buoy-1.0-py3-none-any.whl is not the wheel that .*: its SHA-256 is [0-9a-f]{64}",
    change_the_list: "buoy-1.0-py3-none-any.whl is not the wheel that .*: its SHA-256 is",
    leave_a_hash_in_a_remark: "buoy-1.0-py3-none-any.whl is not the wheel that",
    offer_another_build: "does not name buoy-1.0-7-py3-none-any.whl. Nothing is kept",
    offer_another_platform: "does not name buoy-1.0-py2.py3-none-any.whl. Nothing is kept",
    withdraw: "pip could not get all that .* names",
    list_nothing: "pip could not get all that .* names",
}


@pytest.mark.long
@pytest.mark.parametrize("change", REFUSED, ids=lambda change: change.__name__)
def test_what_is_not_listed_is_refused(source, tmp_path, change):
    """In a sentence, and nothing of it stays."""
    change(source)
    done = source.fetch(tmp_path / "fetched")
    assert done.returncode == 1
    assert re.search(f"fetch_wheels.sh: .*{REFUSED[change]}", done.stderr), done.stderr
    assert not (tmp_path / "fetched").exists()


@pytest.mark.long
def test_a_folder_has_what_is_listed_and_needed(source, tmp_path):
    """
    Its wheels are named in requirements.txt, each with its hash. What is listed and not needed is
    left out, and so is what the registry offers beside.
    """
    spare = make_wheel(source.registry, "anchor", "3.0")
    source.list.write_text(row_of(spare) + row_of(source.wheel))
    done = source.run("make_wheels.sh", tmp_path / "wheels")
    assert done.returncode == 0, done.stderr
    names = {path.name for path in (tmp_path / "wheels").iterdir()}
    assert names == {source.wheel.name, "ragleaf-0.1.0-py3-none-any.whl", "requirements.txt"}
    named = (tmp_path / "wheels/requirements.txt").read_text().splitlines()
    assert named[0] == f"buoy==1.0 --hash=sha256:{row_of(source.wheel)[:64]}"
    assert named[1].startswith("ragleaf==0.1.0 --hash=sha256:")
    assert len(named) == 2


def list_another_package(source):
    """A list without something that is needed."""
    source.list.write_text(row_of(make_wheel(source.registry, "anchor", "3.0")))


NO_FOLDER = {
    swap: "fetch_wheels.sh: buoy-1.0-py3-none-any.whl is not the wheel that",
    list_another_package: "make_wheels.sh: .*wheels.sha256 does not name all that is needed",
}


@pytest.mark.long
@pytest.mark.parametrize("change", NO_FOLDER, ids=lambda change: change.__name__)
def test_no_folder_is_made_of_other_wheels(source, tmp_path, change):
    """In a sentence, though the registry has what is needed."""
    change(source)
    done = source.run("make_wheels.sh", tmp_path / "wheels")
    assert done.returncode == 1
    assert re.search(NO_FOLDER[change], done.stderr), done.stderr
    assert not (tmp_path / "wheels").exists()


def test_the_lowest_versions_are_those_of_the_lower_bounds():
    """Of every dependency one."""
    project = {"dependencies": ["buoy>=1.2,<2"], "optional-dependencies": {"x": ["sea_mark>=3"]}}
    assert lowest.pins(project) == ("buoy==1.2", "sea_mark==3")
    extras = PROJECT["project"]["optional-dependencies"]
    assert set(extras) == {"scan", "typing"}
    count = len(PROJECT["project"]["dependencies"]) + sum(map(len, extras.values()))
    assert len(lowest.pins(PROJECT["project"])) == count


@pytest.mark.parametrize(
    "requirement", ["buoy", "buoy<2", "buoy==1", "buoy>1", "buoy>=1; python_version<'4'", ">=1"]
)
def test_what_has_no_lower_bound_cannot_be_run(requirement):
    """Each is told by its words."""
    with pytest.raises(ValueError, match=re.escape(requirement)):
        lowest.pin(requirement)


def build(clone, folder, umask, environment):
    """Build the archives of a clone; their bytes by name."""
    done = subprocess.run(
        ["sh", clone / "docs/build.sh", folder],
        env=os.environ | {"PYTHON": sys.executable} | environment,
        umask=umask,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.long
def test_archives_are_the_same_bytes_whenever_they_are_built(tmp_path):
    """
    Two clones in other places, with other times, modes, zones and hash seeds, and the source
    archive unpacked: the same wheel and the same source archive.
    """
    get = [sys.executable, "-m", "pip", "index", "versions", "hatchling"]
    if subprocess.run(get, capture_output=True, check=False).returncode:
        pytest.skip("needs a package index")
    if not (ROOT / ".git").exists():
        pytest.skip("needs a clone, to make others of it")
    built = []
    for place, umask, zone, when in (("a", 0o22, "UTC", 1e9), ("b/c", 0o77, "Asia/Tokyo", 1.6e9)):
        clone = tmp_path / place / "ragleaf"
        clone.parent.mkdir(parents=True)
        subprocess.run(["git", "clone", "-q", ROOT, clone], umask=umask, check=True)
        for path in clone.rglob("*"):
            os.utime(path, (when, when))
        others = {"TZ": zone, "PYTHONHASHSEED": f"{umask}", "SOURCE_DATE_EPOCH": f"{when:.0f}"}
        built.append(build(clone, clone.with_name("built"), umask, others))
    assert sorted(path.rsplit(".", 1)[1] for path in built[0]) == ["gz", "whl"]
    assert built[0] == built[1]
    archive = next((tmp_path / "a/built").glob("*.tar.gz"))
    shutil.unpack_archive(archive, tmp_path / "unpacked", filter="data")
    unpacked = next((tmp_path / "unpacked").iterdir())
    assert build(unpacked, tmp_path / "built", 0o22, {}) == built[0]
