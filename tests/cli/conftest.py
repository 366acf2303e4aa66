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
def shelf(tmp_path_factory, forks):
    """
    A function that returns the desk at which a command was run; it runs each command once, and what
    lies there is not to be changed. `said` is what the command said.
    """
    desks = {}

    def desk(*arguments):
        if arguments not in desks:
            made = Desk(tmp_path_factory.mktemp("shelf"), forks)
            made.said = made.ok(*arguments).err
            desks[arguments] = made
        return desks[arguments]

    return desk


@pytest.fixture(scope="session")
def printed(shelf):
    """The demo key's sheets and lines; not to be changed."""
    return shelf("backup", KEY, "-o", "s.pdf", "--text", "s.txt")


@pytest.fixture(scope="session")
def compact(shelf):
    """The demo key's sheet and lines where they are compact; not to be changed."""
    passphrase = ("--passphrase-from", "pw")
    return shelf("backup", KEY, "--compact", *passphrase, "-o", "s.pdf", "--text", "s.txt")
