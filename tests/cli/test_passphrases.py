"""Passphrases from the terminal and from a file: how often one is asked for, and what is shown."""

import pytest

from paperkey_alt.cli import passphrases
from paperkey_alt.errors import SourceError, WrongPassphrase


def types(monkeypatch, *answers):
    """Type these at the terminal, whatever is asked; return the list of what was."""
    left, asked = list(answers), []

    def prompt(text, **how):
        asked.append((text, how))
        return left.pop(0)

    monkeypatch.setattr("click.prompt", prompt)
    return asked


def test_the_terminal_asks_three_times(monkeypatch, capsys):
    """For the same thing, hiding what is typed; another thing is asked for afresh."""
    asked = types(monkeypatch, "ebb", "flood", "slack", "neap")
    ask = passphrases.source(None)
    assert [ask("seal") for _ in range(passphrases.TRIES)] == ["ebb", "flood", "slack"]
    with pytest.raises(WrongPassphrase, match="no passphrase given opens the seal"):
        ask("seal")
    assert ask("key") == "neap"
    assert all(how["hide_input"] and how["err"] for _, how in asked)
    assert capsys.readouterr().err == "That is not it.\n" * 2


def test_a_new_passphrase_is_typed_twice(monkeypatch):
    """And hidden."""
    asked = types(monkeypatch, "ebb")
    assert passphrases.source(None).new("seal") == "ebb"
    ((text, how),) = asked
    assert "New passphrase for the seal" in text
    assert how["confirmation_prompt"]
    assert how["hide_input"]


def test_a_file_gives_one_a_row(tmp_path):
    """In order, blanks and all; when there is none left, the file and the secret are named."""
    name = tmp_path / "pw"
    name.write_text("low water\n at dawn \n", encoding="utf-8")
    ask = passphrases.source(str(name))
    assert (ask("key"), ask.new("seal")) == ("low water", " at dawn ")
    with pytest.raises(WrongPassphrase, match=f"no passphrase in {name} opens the seal"):
        ask("seal")


def test_a_new_passphrase_is_not_empty(tmp_path):
    """An empty row opens what has an empty passphrase, and makes none."""
    name = tmp_path / "pw"
    name.write_text("\n\n", encoding="utf-8")
    ask = passphrases.source(str(name))
    assert ask("key") == ""
    with pytest.raises(WrongPassphrase, match=r"the passphrase for the seal in .* is empty"):
        ask.new("seal")


def test_a_file_that_is_no_text(tmp_path):
    """Refused, and nothing of it is shown."""
    name = tmp_path / "pw"
    name.write_bytes(b"secret \xff\n")
    with pytest.raises(SourceError, match="is not UTF-8 text") as refused:
        passphrases.source(str(name))
    assert "secret" not in str(refused.value)
