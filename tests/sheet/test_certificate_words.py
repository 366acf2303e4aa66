"""What stands on the sheets of a public certificate."""

import datetime as dt

from samples import only, sample

from paperkey_alt.format.line_set import lay_out
from paperkey_alt.format.payload import Certificate, pack
from paperkey_alt.sheet import certificate_words, draw
from paperkey_alt.sheet.layout import PAPERS

TODAY = dt.date(2026, 11, 26)


def made(name):
    """A key of the corpus, its certificate as a payload, and the lines of that."""
    key = only(sample(name).secret)
    payload = Certificate(sample(name).certificate)
    return key, payload, lay_out(pack(payload), 10)


def test_the_caption_has_no_caution_about_a_secret():
    """It says that it is public, and what it is for; its words fit the sheet on any paper."""
    for name in ("rsa4096", "v6-curve25519"):
        key, payload, line_set = made(name)
        caption = certificate_words.caption(key, line_set, payload, sheets=1, today=TODAY)
        assert caption.fingerprint == key.fingerprint.hex().upper()
        assert caption.user_id == key.user_ids[0]
        words = " ".join(
            (caption.title, *caption.notes, *caption.recipe, *caption.cautions, *caption.bring_back)
        )
        assert "shows no secret" in words
        assert "This sheet carries the public certificate" in words
        assert "assphrase" not in words
        assert "--public" not in words
        for paper in PAPERS.values():
            assert draw.draw(line_set, caption, paper=paper).startswith(b"%PDF")


def test_what_is_told_of_the_print():
    """Its size, and what of the key is not on it."""
    _, _, line_set = made("rsa4096")
    told = certificate_words.of_print(line_set, ("Left out: a picture.",), 2)
    assert told[0].startswith(f"Certificate: 2 sheets, set mark {line_set.head.mark}")
    assert told[1:] == ("Left out: a picture.",)


def test_two_sets_in_one_pdf():
    """The sheets of the second come behind those of the first, each with its own set mark."""
    key, payload, line_set = made("curve25519")
    caption = certificate_words.caption(key, line_set, payload, sheets=1, today=TODAY)
    one = draw.draw(line_set, caption, paper=PAPERS["a4"])
    both = draw.draw(line_set, caption, paper=PAPERS["a4"], behind=[(line_set, caption)])
    assert both.count(b"/Type /Page\n") == 2 * one.count(b"/Type /Page\n") == 2
