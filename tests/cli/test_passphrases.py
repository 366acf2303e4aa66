"""Passphrases from the terminal and from a file: how often one is asked for, and what is shown."""

import codecs

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
    monkeypatch.setattr(passphrases, "_require_terminal", lambda _: None)
    return asked


def test_the_terminal_asks_three_times(monkeypatch, capsys):
    """For the same thing, hiding what is typed; another thing is asked for afresh."""
    asked = types(monkeypatch, "ebb", "flood", "slack", "neap")
    ask = passphrases.source(None)
    assert [ask("seal") for _ in range(passphrases.TRIES)] == ["ebb", "flood", "slack"]
    with pytest.raises(WrongPassphrase, match="none of these passphrases opens the seal"):
        ask("seal")
    assert ask("key") == "neap"
    assert all(how["hide_input"] and how["err"] for _, how in asked)
    assert capsys.readouterr().err == "That is not the passphrase.\n" * 2


def test_a_new_passphrase_is_typed_twice(monkeypatch):
    """And hidden."""
    asked = types(monkeypatch, "ebb")
    assert passphrases.source(None).new("seal") == "ebb"
    ((text, how),) = asked
    assert "New passphrase for the seal" in text
    assert how["confirmation_prompt"]
    assert how["hide_input"]


@pytest.mark.parametrize("flawed", ["", "low\twater", "low\x1bwater", "\ufefflow water"])
def test_a_new_passphrase_can_be_typed(monkeypatch, capsys, flawed, tmp_path):
    """
    At the terminal it is asked for again, three times in all; a file with such a row is refused.
    Nothing of it is shown.
    """
    asked = types(monkeypatch, flawed, "the ebb sets to the north")
    assert passphrases.source(None).new("seal") == "the ebb sets to the north"
    assert len(asked) == 2
    assert "It cannot be used" in capsys.readouterr().err
    types(monkeypatch, *[flawed] * 3)
    with pytest.raises(WrongPassphrase, match="no new passphrase for the seal was given"):
        passphrases.source(None).new("seal")
    (tmp_path / "pw").write_text(f"ebb\n{flawed}\n", encoding="utf-8")
    ask = passphrases.source(str(tmp_path / "pw"))
    assert ask("key") == "ebb"
    with pytest.raises(WrongPassphrase, match=r"for the seal in .* \(row 2\)") as refused:
        ask.new("seal")
    assert "water" not in str(refused.value) + refused.value.advice


@pytest.mark.parametrize(
    ("new", "is_short"), [("ebb and flood 1", False), ("ebb and flood ", True)]
)
def test_a_short_new_passphrase(monkeypatch, capsys, new, is_short):
    """It is taken, with a word about guessing; an old one is none of our affair."""
    types(monkeypatch, new, new)
    ask = passphrases.source(None)
    assert ask("key") == new
    assert capsys.readouterr().err == ""
    assert ask.new("seal") == new
    assert ("guess" in capsys.readouterr().err) is is_short


@pytest.mark.parametrize("lead", [b"", codecs.BOM_UTF8])
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("last", [True, False])
def test_files_as_editors_write_them(tmp_path, lead, ends, last):
    """With a byte order mark or not, LF or CRLF, and behind the last row or not: the same rows."""
    text = f"low water{ends}fl\xf6d {ends}" if last else f"low water{ends}fl\xf6d "
    (tmp_path / "pw").write_bytes(lead + text.encode())
    ask = passphrases.source(str(tmp_path / "pw"))
    assert (ask("key"), ask.new("seal")) == ("low water", "fl\xf6d ")
    assert list(passphrases.unneeded(ask)) == []
    with pytest.raises(WrongPassphrase):
        ask("key")


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-be", "utf-32", "utf-32-be"])
def test_files_of_other_encodings(tmp_path, encoding):
    """Refused by their byte order mark, with advice."""
    mark = "" if encoding in ("utf-16", "utf-32") else "\ufeff"
    (tmp_path / "pw").write_bytes(f"{mark}low water\n".encode(encoding))
    with pytest.raises(SourceError, match="not UTF-8") as refused:
        passphrases.source(str(tmp_path / "pw"))
    assert "Save it as UTF-8" in refused.value.advice


def test_too_many_rows(tmp_path):
    """What was not needed is named with what was; empty rows at the end are no rows."""
    (tmp_path / "pw").write_text("ebb\nflood and slack water\nneap\n\n", encoding="utf-8")
    ask = passphrases.source(str(tmp_path / "pw"))
    assert next(passphrases.unneeded(ask)).startswith("Rows 1 to 3 of ")
    ask("key A")
    ask.new("seal")
    (told,) = passphrases.unneeded(ask)
    assert told == (
        f"Row 3 of {tmp_path / 'pw'} was not needed. Ragleaf asked for these, in this order: row 1 "
        "for the key A; row 2 for a new passphrase for the seal."
    )
    assert "neap" not in told


def test_too_few_rows(tmp_path):
    """The row that is wanting is named, and what the others were taken for."""
    (tmp_path / "pw").write_text("ebb\n", encoding="utf-8")
    ask = passphrases.source(str(tmp_path / "pw"))
    ask("key A")
    with pytest.raises(WrongPassphrase, match="is left for the new seal") as refused:
        ask.new("seal")
    assert refused.value.advice == (
        "Row 2 must be for a new passphrase for the seal. Ragleaf asked for these, in this order: "
        "row 1 for the key A."
    )
    with pytest.raises(WrongPassphrase, match="opens the key B") as refused:
        ask("key B")
    assert refused.value.advice.startswith("Row 2 must be for the key B.")


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
