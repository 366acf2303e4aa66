"""What the tests of the commands begin with."""

import pytest
from desks import KEY, Desk
from forks import Forks


@pytest.fixture(scope="session")
def forks(request):
    """What runs the commands; with --fresh-processes each is started, and nothing is shared."""
    if request.config.getoption("fresh_processes"):
        yield None
        return
    forks = Forks()
    yield forks
    forks.close()


@pytest.fixture
def desk(tmp_path, forks):
    """An empty folder to work in, with a file of the passphrase."""
    return Desk(tmp_path, forks)


@pytest.fixture(scope="session")
def printed(tmp_path_factory, forks):
    """The demo key's sheets and lines, and what was said of them; not to be changed."""
    made = Desk(tmp_path_factory.mktemp("printed"), forks)
    made.said = made.ok("backup", KEY, "-o", "s.pdf", "--text", "s.txt").err
    return made
