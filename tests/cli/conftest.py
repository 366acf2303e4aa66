"""What the tests of the commands begin with."""

import pytest
from desks import KEY, Desk


@pytest.fixture
def desk(tmp_path):
    """An empty folder to work in, with a file of the passphrase."""
    return Desk(tmp_path)


@pytest.fixture(scope="session")
def printed(tmp_path_factory):
    """The demo key's sheets and lines, and what was said of them; not to be changed."""
    made = Desk(tmp_path_factory.mktemp("printed"))
    made.said = made.ok("backup", KEY, "-o", "s.pdf", "--text", "s.txt").err
    return made
