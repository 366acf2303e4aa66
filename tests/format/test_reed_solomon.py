"""The Reed–Solomon codes against their standards, an independent library and themselves."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from make_galois_answers import code_of, recorded

from paperkey_alt.format.reed_solomon import Code, Uncorrectable

LINE_CODE = Code(field_bits=5, polynomial=0x25, checks=5)
SPARE_CODE = Code(field_bits=8, polynomial=0x11D, checks=10)

# ISO/IEC 18004, annex with the worked symbol "01234567", version 1-M: data and error correction
# codewords (from memory; they agree with the code, which they could not do by chance).
ISO_18004_DATA = bytes.fromhex("10 20 0c 56 61 80 ec 11 ec 11 ec 11 ec 11 ec 11")
ISO_18004_CHECKS = bytes.fromhex("a5 24 d4 c1 ed 36 c7 87 2c 55")


def test_the_worked_example_of_iso_18004():
    """The code over GF(256) is the one of QR symbols."""
    assert SPARE_CODE.encode(ISO_18004_DATA) == ISO_18004_CHECKS


@pytest.mark.parametrize("answer", recorded()["codes"], ids=lambda answer: answer["code"])
def test_galois_gave_the_same_checks_and_corrections(answer):
    """
    An independent library found the same check symbols, and the same word from one that is damaged
    up to the limit.
    """
    code, word = Code(*answer["code"]), bytes.fromhex(answer["word"])
    assert code.encode(word[: -code.checks]) == word[-code.checks :]
    corrected, changed = code.correct(bytes.fromhex(answer["damaged"]))
    assert corrected == bytes.fromhex(answer["corrected"]) == word
    assert len(changed) == code.checks // 2


@pytest.mark.long
@pytest.mark.parametrize(
    "code",
    [LINE_CODE, SPARE_CODE, Code(8, 0x11D, 46)],
    ids=lambda code: f"{code.field_bits}-{code.checks}",
)
def test_galois_gives_the_same_checks_and_corrections(code):
    """
    An independent library finds the same check symbols, and the same word from one that is damaged
    within the limit.
    """
    field, oracle = code_of(code.field_bits, code.polynomial, code.checks)
    choose = random.Random(code.checks)
    for _ in range(40):
        message = [choose.randrange(code.longest + 1) for _ in range(code.longest - code.checks)]
        word = [*message, *code.encode(message)]
        assert word == [int(symbol) for symbol in oracle.encode(field(message))]
        places = choose.sample(range(code.longest), code.checks // 2)
        damaged = [
            symbol ^ choose.randrange(1, code.longest + 1) if at in places else symbol
            for at, symbol in enumerate(word)
        ]
        assert (
            list(code.correct(damaged)[0])
            == word
            == [int(s) for s in oracle.decode(field(damaged), output="codeword")]
        )


@st.composite
def damaged_words(draw):
    """A code, a codeword, and a word with wrong and erased symbols that are within the limit."""
    code = draw(st.sampled_from([LINE_CODE, SPARE_CODE, Code(8, 0x11D, 1), Code(5, 0x25, 4)]))
    length = draw(st.integers(1, code.longest - code.checks))
    message = draw(st.lists(st.integers(0, code.longest), min_size=length, max_size=length))
    word = [*message, *code.encode(message)]
    errors = draw(st.integers(0, code.checks // 2))
    erasures = draw(st.integers(0, code.checks - 2 * errors))
    places = draw(st.permutations(range(len(word))))[: errors + erasures]
    damaged = list(word)
    for place in places:
        damaged[place] ^= draw(st.integers(1, code.longest))
    return code, word, damaged, places[errors:]


@given(damaged_words())
@settings(max_examples=300)
def test_all_damage_within_the_limit_is_undone(case):
    """
    Twice the wrong symbols plus the erased ones up to the check symbols: the word comes back, its
    changes listed.
    """
    code, word, damaged, erased = case
    found, changed = code.correct(damaged, erased)
    assert list(found) == word
    assert set(changed) == {at for at in range(len(word)) if word[at] != damaged[at]}


def test_three_wrong_symbols_of_a_line_are_never_mended():
    """
    The line code has distance 6: three wrong symbols are at least three away from every other
    codeword.
    """
    choose = random.Random(6)
    message = [choose.randrange(32) for _ in range(26)]
    word = [*message, *LINE_CODE.encode(message)]
    for _ in range(3000):
        damaged = list(word)
        for place in choose.sample(range(31), 3):
            damaged[place] ^= choose.randrange(1, 32)
        with pytest.raises(Uncorrectable, match=r"^no codeword within reach$"):
            LINE_CODE.correct(damaged)


@pytest.mark.long
def test_every_answer_is_a_codeword_within_reach():
    """Whatever the input, an answer is a codeword, and no farther than the code may reach."""
    choose = random.Random(7)
    answers = 0
    for _ in range(20_000):
        word = [choose.randrange(32) for _ in range(choose.randrange(6, 32))]
        erased = choose.sample(range(len(word)), choose.randrange(3))
        try:
            found, changed = LINE_CODE.correct(word, erased)
        except Uncorrectable:
            continue
        answers += 1
        assert LINE_CODE.encode(found[:-5]) == found[-5:]
        assert 2 * len(set(changed) - set(erased)) + len(erased) <= 5
    assert answers


WRONG_USE = {
    "a symbol of another field": (lambda: LINE_CODE.encode([32])),
    "a negative symbol": (lambda: LINE_CODE.encode([-1])),
    "an empty message": (lambda: LINE_CODE.encode([])),
    "a message that is too long": (lambda: LINE_CODE.encode([0] * 27)),
    "a word that is too long": (lambda: LINE_CODE.correct([0] * 32)),
    "a word of checks alone": (lambda: LINE_CODE.correct([0] * 5)),
    "an erased position outside": (lambda: LINE_CODE.correct([0] * 10, [10])),
    "a negative erased position": (lambda: LINE_CODE.correct([0] * 10, [-1])),
    "too many check symbols": (lambda: Code(5, 0x25, 31)),
    "no check symbols": (lambda: Code(5, 0x25, 0)),
    "a field that is too large": (lambda: Code(9, 0x211, 4)),
}


@pytest.mark.parametrize("name", WRONG_USE)
def test_wrong_use_is_refused(name):
    """What the library would silently accept or crash on is a ValueError here."""
    with pytest.raises(ValueError, match=r"."):
        WRONG_USE[name]()


def test_more_erased_than_check_symbols_is_refused():
    """One erased symbol past the limit is refused, not guessed."""
    with pytest.raises(Uncorrectable):
        LINE_CODE.correct([0] * 10, range(6))


@pytest.mark.parametrize("code", [LINE_CODE, SPARE_CODE, Code(8, 0x11D, 1), Code(5, 0x25, 30)])
def test_erased_symbols_are_filled_in(code):
    """
    Up to as many as there are check symbols, the first and the last among them, in several words
    at once; what stands in their places is of no account.
    """
    choose = random.Random(code.checks)
    length = min(code.longest, code.checks + 9)
    words = []
    for _ in range(3):
        message = [choose.randrange(code.longest + 1) for _ in range(length - code.checks)]
        words.append(bytes([*message, *code.encode(message)]))
    assert code.fill_all(words, []) == tuple(words)
    for count in {1, 2, code.checks - 1, code.checks} & set(range(1, code.checks + 1)):
        for erased in (range(count), choose.sample(range(length), count), [length - 1] * count):
            damaged = [bytearray(word) for word in words]
            for word in damaged:
                for at in erased:
                    word[at] = choose.randrange(code.longest + 1)
            assert code.fill_all(damaged, erased) == tuple(words)
            assert code.fill(damaged[1], erased) == words[1]
            assert [code.correct(word, erased)[0] for word in damaged] == words


def test_a_wrong_symbol_beside_the_erased_ones_is_no_codeword():
    """Wherever it is, in whichever of the words, while a check symbol is left."""
    message = list(range(26))
    word = bytes([*message, *LINE_CODE.encode(message)])
    for at in (0, 12, 26, 30):
        wrong = bytearray(word)
        wrong[at] ^= 9
        for erased in ([], [5], [5, 29], [5, 6, 29, 7]):
            words = "no codeword differs in the erased positions alone"
            with pytest.raises(
                Uncorrectable, match=f"^{words if erased else 'it is no codeword'}$"
            ):
                LINE_CODE.fill(wrong, erased)
            for both in ([word, wrong], [wrong, word]):
                with pytest.raises(Uncorrectable):
                    LINE_CODE.fill_all(both, erased)
    with pytest.raises(Uncorrectable, match=r"^more erased symbols than check symbols$"):
        LINE_CODE.fill(word, range(6))


TOLD = {
    "words of two lengths": (
        lambda: LINE_CODE.fill_all([[0] * 10, [0] * 11], [1]),
        "the words are of different lengths",
    ),
    "a symbol of another field": (
        lambda: LINE_CODE.encode([32]),
        "a symbol of this field is 0 to 31",
    ),
    "a message that is too long": (
        lambda: LINE_CODE.encode([0] * 27),
        "a word of this code has 1 to 26 symbols here, not 27",
    ),
    "a word that is too long": (
        lambda: LINE_CODE.correct([0] * 32),
        "a word of this code has 1 to 31 symbols here, not 32",
    ),
    "a second word with a symbol of another field": (
        lambda: LINE_CODE.fill_all([[0] * 10, [32] * 10], [1]),
        "a symbol of this field is 0 to 31",
    ),
    "an erased position outside": (
        lambda: LINE_CODE.fill([0] * 10, [10]),
        "the word is too short, or an erased position is outside of it",
    ),
    "a negative erased position": (
        lambda: LINE_CODE.fill([0] * 10, [-1, 3]),
        "the word is too short, or an erased position is outside of it",
    ),
    "a word of checks alone": (
        lambda: LINE_CODE.fill([0] * 5, []),
        "the word is too short, or an erased position is outside of it",
    ),
    "too many check symbols": (lambda: Code(5, 0x25, 31), "1 to 30 check symbols fit this field"),
    "no check symbols": (lambda: Code(5, 0x25, 0), "1 to 30 check symbols fit this field"),
}


@pytest.mark.parametrize("name", TOLD)
def test_what_is_wrong_use_is_told(name):
    """In full, for who writes the next caller."""
    use, words = TOLD[name]
    with pytest.raises(ValueError, match=r".") as told:
        use()
    assert str(told.value) == words


def test_the_shortest_and_the_longest_word():
    """One message symbol, and as many as there are; the least and the greatest symbol."""
    for length in (1, 26):
        for symbol in (0, 31):
            word = bytes([symbol] * length)
            word += LINE_CODE.encode(word)
            assert LINE_CODE.correct(word) == (word, ())
            assert LINE_CODE.fill(word, [0]) == word
