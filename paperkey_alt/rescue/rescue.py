"""Restore a key from Ragleaf sheets with nothing but Python (3.8 or later) and what stands on the paper.

    python3 rescue.py FILES... -o OUT [--mark MARK]... [--public CERT]

FILES are text files: rows typed from the sheets (line number, then the line), or the texts of QR blocks, one a row.
MARK is the set mark of the set to restore, or of a share to be believed. CERT is the public certificate, for sheets
that carry only what is secret, if no sheets of it are among FILES. Written from the format document, version 1, alone.
The way back: rows -> lines and spare lines -> body -> [join shares] -> [open the seal] -> payload -> key.
"""
import argparse, base64, collections, functools, getpass, hashlib, itertools, operator, os, pathlib, re, struct, sys, unicodedata
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
VALUE = dict(zip(ALPHABET, range(32)), **{"1": 8})  # 1 is read as I
BLANKS = "\t\n\r -\xa0\xad\u2010\u2011\u2012\u2013\u2014\u2212"  # white space, hyphens and dashes are left out
BARE = str.maketrans("", "", BLANKS)
TIDY = str.maketrans(ALPHABET[:26].lower() + "08", ALPHABET[:26] + "OB", BLANKS)  # 0 is read as O, 8 as B
MOST_ROWS, MOST_MENDING, MOST_SETS, MOST_DROPS, MOST_JOINS = 200000, 15000, 32, 3000, 20000  # so that any input has an end

class Failure(Exception):
    """What is wrong, and what to do about it."""
class Refused(Failure):
    """A set that contradicts itself."""

# ---- Fields, and Reed-Solomon codes over them. A word is a list of symbols, highest power first. ----
def xor(a, b):
    return (int.from_bytes(a, "little") ^ int.from_bytes(b, "little")).to_bytes(len(a), "little")
class Field:
    """GF(size) by tables of the powers and logarithms of a generator, 2 or 3. A column is one symbol of many words, as bytes."""
    def __init__(self, polynomial, size, generator=2):
        self.order, self.power, self.log, element = size - 1, [], {}, 1
        for exponent in range(self.order):
            self.power.append(element)
            self.log[element] = exponent
            doubled = min(element * 2, element * 2 ^ polynomial)  # whichever is below the size
            element = doubled if generator == 2 else doubled ^ element
        self.tables = [bytes(self.times(a, b) for b in range(size)).ljust(256, b"\0") for a in range(size)]
    def times(self, a, b):
        return self.power[(self.log[a] + self.log[b]) % self.order] if a and b else 0
    def over(self, a, b):
        return self.power[(self.log[a] - self.log[b]) % self.order] if a else 0
    def value(self, word, x):
        """The column of the values of a word of columns at x."""
        return functools.reduce(lambda total, column: xor(total.translate(self.tables[x]), column), word)
    def corrections(self, powers, syndromes):
        """What to add to the columns of these powers so that all syndromes, the values at the roots of the code's generator
        polynomial, vanish; or None (Forney's formula)."""
        xs, amounts = [self.power[power] for power in powers], []
        omega = syndromes[: len(xs)]  # lowest power first; becomes syndromes * product of (1 - x z), cut off behind z^(len - 1)
        for x in xs:
            omega[1:] = [xor(s, before.translate(self.tables[x])) for before, s in zip(omega, omega[1:])]
        for x in xs:
            product = functools.reduce(self.times, (1 ^ self.over(other, x) for other in xs if other != x), 1)
            amounts.append(self.value(omega[::-1], self.over(1, x)).translate(self.tables[self.over(1, product)]))
        terms = amounts
        for syndrome in syndromes:
            if any(functools.reduce(xor, terms, syndrome)):
                return None
            terms = [term.translate(self.tables[x]) for term, x in zip(terms, xs)]
        return amounts
LINE, SPARE, SHARE = Field(0x25, 32), Field(0x11D, 256), Field(0x11B, 256, 3)  # in the last field 2 is no generator, 3 is one

# ---- A line: 31 symbols, of which the first two are the number ----
def packed(symbols):
    return functools.reduce(lambda all, symbol: all << 5 | symbol, symbols)
def unpacked(number):
    return [number >> shift & 31 for shift in (20, 15, 10, 5, 0)]
def mark_of(number):
    return "".join(ALPHABET[v] for v in unpacked(number))
def number_of(mark):
    return packed(VALUE[c] for c in mark)
def remainders():
    """For each place in a word and each symbol the remainder, its five symbols as one number of 25 bits."""
    table, last = [], [0, 0, 0, 0, 1]
    for _ in range(31):
        table.append([packed(LINE.times(v, s) for s in last) for v in range(32)])
        last = [s ^ LINE.times(last[0], g) for s, g in zip(last[1:] + [0], (31, 24, 15, 24, 17))]
    return table[::-1]
REMAINDER = remainders()
def remainder(word):
    """It is 0 for a right word under number 0. For any other right line it is the set mark, which masks its check."""
    return functools.reduce(operator.xor, map(operator.getitem, REMAINDER, word))
def mend(word, mark, errors):
    """(cost, word): the right word next to this one; None if there is none. An unreadable symbol (None) costs 1, a wrong one 2;
    together at most 4, of the 5 that the check could bear."""
    lost, known = [i for i in range(31) if word[i] is None], [symbol or 0 for symbol in word]
    remains = remainder(known) ^ mark
    if not remains or len(lost) > 4 or not lost and not errors:
        return None if remains or len(lost) > 4 else (len(lost), known)
    symbols = unpacked(remains)
    s = [functools.reduce(lambda all, v: LINE.times(all, x) ^ v, symbols, 0) for x in LINE.power[:5]]
    t = s  # the syndromes, less what the unreadable symbols add to them
    for i in lost:
        t = [after ^ LINE.times(before, LINE.power[30 - i]) for before, after in zip(t, t[1:])]
    places = [] if any(t) else [[]]
    if errors and len(lost) < 3 and t[0] and t[1] and all(LINE.times(v, t[1]) == LINE.times(w, t[0]) for v, w in zip(t, t[1:])):
        places.append([30 - LINE.log[LINE.over(t[1], t[0])]])
    det = errors > 1 and not lost and LINE.times(s[1], s[1]) ^ LINE.times(s[0], s[2])
    if det:  # the two wrong places are the roots of x^2 + a x + b
        a, b = (LINE.over(LINE.times(s[2], p) ^ LINE.times(s[3], q), det) for p, q in ((s[1], s[0]), (s[2], s[1])))
        if LINE.times(a, s[3]) ^ LINE.times(b, s[2]) == s[4]:
            places.append([30 - LINE.log[x] for x in LINE.power if not LINE.times(x, x ^ a) ^ b])
    for wrong in places:
        amounts = LINE.corrections([30 - i for i in lost + wrong], [bytes([v]) for v in s])
        if amounts and not set(lost) & set(wrong):
            for i, amount in zip(lost + wrong, amounts):
                known[i] ^= amount[0]
            return len(lost) + 2 * len(wrong), known
def trials(text):
    """The 29 values that the characters of a row may stand for: (cost, wrong symbols allowed besides, values)."""
    for one in "L?" if "1" in text and len(text) == 29 else "":  # every 1 as I comes last, and with what the check can mend
        if one == "L":
            yield 0, 0, [VALUE.get(c) for c in text]
        yield 0, 0, [VALUE.get(c) for c in text.replace("1", one)]
    values = [VALUE.get(c) for c in text]
    if len(values) == 29:
        yield 0, 2, values
        yield from ((2, 0, values[:i] + [values[i + 1], values[i]] + values[i + 2:]) for i in range(28))
    elif len(values) == 28:
        yield from ((1, 0, values[:i] + [None] + values[i:]) for i in range(29))
    elif len(values) == 30:
        yield from ((2, 0, values[:i] + values[i + 1:]) for i in range(30))
def read_line(ways, mark, highest):
    """The cheapest (cost, number, data characters) that a row can stand for, if one line alone is as cheap; otherwise None.
    ways: how the row may be taken apart, each (number or None, characters). The number must be 1 to highest, or 0 if 0 is."""
    found = set()
    for number, text in ways:
        for cost, errors, values in trials(text):
            result = mend(([None, None] if number is None else [number // 32, number % 32]) + values, mark, errors)
            if result and cost + result[0] < 5 and min(1, highest) <= result[1][0] * 32 + result[1][1] <= highest:
                word = result[1]
                found.add((cost + result[0], word[0] * 32 + word[1], "".join(ALPHABET[v] for v in word[2:26])))
                if cost + errors == 0:  # right in one of the ways to read 1
                    break
    best = [line for line in found if line[0] == min(found)[0]]
    return best[0] if len(best) == 1 else None

# ---- Rows of files ----
Row = collections.namedtuple("Row", "file place ways")
def rows_of(path):
    with open(path, encoding="utf-8-sig", errors="replace") as file:
        for place, text in enumerate(file, 1):
            text, ways = text[:9000].strip(), []
            block = "/" in text and re.match(r"(?:0\s)?([^/]*)/(?:([0-9]{1,4})\s)?(.*)", text)
            if not text or text[0] == "#":
                yield Row(path, place, [])
            elif block:  # the text of a QR block
                yield Row(path, place, [(0, block[1].translate(TIDY))])
                first, run = int(block[2] or 1024), block[3].translate(TIDY)
                for i in range(0, len(run), 29):
                    yield Row(path, place, [(first + i // 29 if first + i // 29 < 1024 else None, run[i:i + 29])])
            else:
                whole, apart = text.translate(TIDY), re.match(r"([0-9]{1,4})\s+(.*)", text)
                if apart and int(apart[1]) < 1024:
                    yield Row(path, place, [(int(apart[1]), apart[2].translate(TIDY))])
                    continue
                touching = re.match("([0-9]{1,4}).{29}$", text.translate(BARE))  # the number touches the line
                if touching and int(touching[1]) < 1024:
                    ways.append((int(touching[1]), whole[-29:]))
                yield Row(path, place, ways + [(None, whole)])
Head = collections.namedtuple("Head", "text flags data spare padding share threshold count backup mark digest")
def head_of(text, tell):
    """The head line with these characters; None, and tell why, if it is not of version 1."""
    v = [VALUE[c] for c in text]
    head = Head(text, v[1], v[2] * 32 + v[3], v[4] * 32 + v[5], *v[6:10], text[10:15], text[15:20], text[15:])
    sound = v[0] == 1 and head.flags < 2 and 0 < head.data <= 1023 - head.spare and head.spare <= 254 * head.data
    split = 1 <= head.share <= head.count <= 16 and 2 <= head.threshold <= head.count
    if sound and head.padding < 15 and (split or not any(v[7:15])):
        return head
    tell("line 0: " + (f"of version {v[0]}, and only 1 is known" if v[0] != 1 else "not of version 1") + ": not read")
def exact(ways, last):
    """(remainder, number, data characters) of a row without unreadable characters; last: the line number before it."""
    for number, text in ways[:1]:
        for text in (text, text.replace("1", "L"))[:1 + ("1" in text)] if len(text) == 29 else ():
            values, n = [VALUE.get(c, 32) for c in text], min(last + 1, 1023) if number is None else number
            if 32 not in values:
                characters = text[:24].replace("1", "I")
                for n in [n] if number is not None else [n, 0]:  # without a number it may be line 0
                    yield remainder([n // 32, n % 32] + values), n, characters
def collect(rows, say):
    """What was read: {set mark: {Head: cost}}, and {set mark: {line number: {(cost, number, characters), ...}}}."""
    left, told, at, known = MOST_MENDING, 0, {}, {}
    def tell(text):
        nonlocal told
        told += 1
        if told < 1000:
            say(f"{row.file} row {row.place}: {text}")
    def mended(ways, mark, highest):
        nonlocal left
        if any(27 < len(text) < 31 for _, text in ways):
            left -= 1
            return read_line(ways, mark, highest) if left >= 0 else None
    heads, tally, last = collections.defaultdict(dict), collections.defaultdict(set), collections.Counter()
    for index, row in enumerate(rows):
        before = last[row.file]
        for remains, number, characters in exact(row.ways, before):
            if number:
                tally[remains].add((index, number))
                last[row.file] = number
            elif remains == 0:
                last[row.file], at[index] = before, known.setdefault(characters, head_of(characters, tell))
        line = None
        if index not in at and any(number == 0 for number, _ in row.ways):
            line = mended(row.ways, 0, 0)
            at[index] = head_of(line[2], tell) if line else None
            tell("line 0: " + ("mended" if at[index] else "WRONG and not to be mended"))
        if at.get(index):
            some = heads[number_of(at[index].mark)]
            some[at[index]] = min(line[0] if line else 0, some.get(at[index], 9))
    busy = sorted((mark for mark, some in tally.items() if len(some) > 2 or mark in heads), key=lambda mark: -len(tally[mark]))
    explained = {index for mark in heads for index, _ in tally.get(mark, ())}
    for mark in busy[:MOST_SETS]:  # sets without line 0; not one of another version, nor lines with wrong numbers
        if len({number for index, number in tally[mark] if index not in explained}) > 2 and None not in known.values():
            if not any(mark ^ remainder([n // 32, n % 32]) in heads for n in range(1024)):
                heads[mark] = {}
                explained.update(index for index, _ in tally[mark])
    busy = [mark for mark in busy if mark in heads] + [mark for mark in heads if mark not in tally]
    highest = {mark: max([h.data + h.spare for h in some] or [1023]) for mark, some in heads.items()}
    here, last, lines = {}, collections.Counter(), collections.defaultdict(lambda: collections.defaultdict(set))
    for index in sorted((i for i in at if at[i]), reverse=True):
        here[rows[index].file] = number_of(at[index].mark)  # also for what stands above a file's first head line
    for index, row in enumerate(rows):
        if at.get(index):
            here[row.file] = number_of(at[index].mark)
        if index in at or not row.ways:
            continue
        near, number = here.get(row.file), row.ways[0][0]
        found = [((0, n, characters), mark) for mark, n, characters in exact(row.ways, last[row.file])
                 if mark in heads and 0 < n <= highest[mark]][:1]
        if not found:
            ways = [(min(last[row.file] + 1, 1023), text) for n, text in row.ways if n is None] + row.ways
            marks = dict.fromkeys([near] * (near is not None) + busy[:MOST_SETS])
            some = [(line, mark) for mark in marks for line in [mended(ways, mark, highest[mark])] if line]
            found = [one for one in some if one[0][0] == min(some)[0][0]]
            found = [one for one in found if one[1] == near] or found  # of equals, the set that the row stands under
        name = f"line {'without a number' if number is None else number}: "
        if len(found) == 1:
            line, mark = found[0]
            lines[mark_of(mark)][line[1]].add(line)
            last[row.file] = line[1]
            if line[0]:
                tell(name + f"mended, is line {line[1]} of set {mark_of(mark)}: {' '.join(re.findall('....', line[2]))}")
        else:
            tell(name + ("fits several sets: " + ", ".join(mark_of(mark) for _, mark in found) if found else
                         "WRONG and not to be mended: compare it with the paper"))
    for count, what in ((told - 999, "more such messages"), (-left, "rows were not mended: give fewer files at a time")):
        if count > 0:
            say(f"... {count} {what}")
    return {mark_of(mark): some for mark, some in heads.items()}, lines

# ---- Lines and spare lines to the body ----
def solutions(head, lines, doubts):
    """(doubted, bytes of all data lines) for each set of doubted lines that the spare lines can replace without contradiction."""
    size = next(g for g in range(1, 1024) if -(-head.data // g) - (-head.spare // g) <= 255)
    words = [[*range(1 + g, head.data + 1, size), *range(head.data + 1 + g, head.data + head.spare + 1, size)]
             for g in range(size)]  # the numbers of each group's lines, in order
    @functools.lru_cache(None)
    def syndromes(g):
        columns = [lines.get(number, bytes(15)) for number in words[g]]
        return [SPARE.value(columns, root) for root in SPARE.power[:sum(number > head.data for number in words[g])]]
    @functools.lru_cache(64)
    def solved(g, lost):
        places = [len(words[g]) - 1 - words[g].index(number) for number in lost]
        amounts = SPARE.corrections(places, syndromes(g))
        return amounts and [(n, xor(lines.get(n, bytes(15)), amount)) for n, amount in zip(lost, amounts)]
    for doubted in doubts:
        if len(lines.keys() - doubted) < head.data:
            continue
        whole = dict(lines)
        for g, word in enumerate(words):
            lost = tuple(number for number in word if number not in lines or number in doubted)
            if lost and lost[0] <= head.data:  # otherwise the spare lines are not needed
                new = solved(g, lost) if len(lost) <= sum(number > head.data for number in word) else None
                if not new:
                    break
                whole.update(new)
        else:
            yield doubted, b"".join(whole[n] for n in range(1, head.data + 1))
def doubts(costs):
    """Which mended lines to take as lost: none; all; those with two wrong characters; one at a time, two at a time."""
    order = sorted(costs, key=lambda n: -costs[n])
    yield from (set(), set(order), {n for n in order if costs[n] > 3})
    yield from (set(few) for size in (1, 2) for few in itertools.combinations(order, size))
def usable(found):
    """({number: 15 bytes}, {number: cost} of the mended) of the lines that have one cheapest reading."""
    best = {n: [line for line in some if line[0] == min(some)[0]] for n, some in found.items()}
    lines = {n: base64.b32decode(some[0][2]) for n, some in best.items() if len(some) == 1}
    return lines, {n: best[n][0][0] for n in lines if best[n][0][0]}
def body_of(head, found, say):
    """The body of a set, once its digest agrees."""
    found = {n: some for n, some in found.items() if n <= head.data + head.spare}
    lines, costs = usable(found)
    for doubted, padded in solutions(head, lines, itertools.islice(doubts(costs), MOST_DROPS)):
        body, padding = padded[:len(padded) - head.padding], padded[len(padded) - head.padding:]
        digest = base64.b32encode(hashlib.sha256(head.text[:15].encode() + body).digest()).decode()[:9]
        if digest == head.digest and not any(padding):
            if head.threshold and base64.b32encode(body[:15]).decode()[:5] != head.backup:
                raise Refused(f"set {head.mark}: refused: the backup number in its line 0 is not that of its line 1")
            solved = [n for n in range(1, head.data + 1) if n not in lines or n in doubted]
            say(f"set {head.mark}: the digest agrees; lines solved for with the spare lines: {solved or 'none'}")
            return body
    lost = [n for n in range(1, head.data + 1) if n not in lines]
    raise Failure(f"set {head.mark}: not restored. Data lines lost, wrong or read in two ways: {lost or 'none'}; mended: "
                  f"{sorted(costs) or 'none'}; spare lines read: {sum(n > head.data for n in lines)} of {head.spare}. "
                  "Read these lines again, or type more spare lines")
def whole_payload(body):
    return len(body) > 32 and hashlib.sha256(body[:-32]).digest() == body[-32:]
def guesses(mark, found):
    """(Head, body) of each guess of line 0 under which the digest begins with the set mark. A payload's SHA-256 proves a guess;
    seals and shares are proved later."""
    lines, costs = usable(found)
    if len(lines) > 30 and 2 * len(costs) > len(lines):  # noise, mended: it would take very long
        lines, costs = {n: line for n, line in lines.items() if n not in costs}, {}
    top, target = max(found), number_of(mark)
    two = lambda n: ALPHABET[n // 32] + ALPHABET[n % 32]
    shares = ["".join(ALPHABET[v] for v in (x, t, n)) for n in range(2, 17) for t in range(2, n + 1) for x in range(1, n + 1)]
    for plain in (True, False):
        guessed = {}
        for data, spare in ((data, spare) for data in range(1, top + 1)
                            for spare in {max(4, -(-data // 4)), max(4, data // 4), top - data}):
            blank = Head("", 0, data, spare, 0, 0, 0, 0, "AAAAA", mark, "")
            fits = top <= data + spare < 1024 and spare <= 254 * data
            drops = itertools.islice(doubts(costs), 12 if len(lines) < 100 else 2)
            for _, padded in solutions(blank, lines, drops) if fits else ():
                backup = base64.b32encode(padded[:15]).decode()[:5]
                for padding in range(min(15, len(padded) - len(padded.rstrip(b"\0")) + 1)):
                    body = padded[:len(padded) - padding]
                    if plain and not whole_payload(body):
                        continue
                    rest = [("A", "A" * 8)] if plain else [("B", "A" * 8), *((f, s + backup) for f in "AB" for s in shares)]
                    for flags, split in rest:
                        c = "B" + flags + two(data) + two(spare) + ALPHABET[padding] + split
                        digest = hashlib.sha256(c.encode() + body).digest()
                        if int.from_bytes(digest[:4], "big") >> 7 == target:
                            guessed[head_of(c + base64.b32encode(digest).decode()[:9], print)] = body
        if guessed:
            break
    return list(guessed.items())
Part = collections.namedtuple("Part", "name head body first problem")  # a set: what to call it, its body or what is wrong with it
def parts_of(heads_of, lines_of, say):
    bare, computed = [mark for mark in heads_of if mark not in lines_of], 0
    if bare:
        say(f"head lines with no other line of their sets, passed over: {' '.join(bare[:50])}" + " ..." * (len(bare) > 50))
    for mark, found in lines_of.items():
        heads = heads_of[mark]
        line_1, parts, problem = usable({n: some for n, some in found.items() if n == 1})[0].get(1), [], None
        for wanted in (False, True):  # the heads as read; then, if none of them tells a whole set, the mended ones
            for head in [h for h, cost in heads.items() if (cost > 0) == wanted][:20] if not parts else []:
                try:
                    parts.append((head, body_of(head, found, say)))
                except Failure as failure:
                    problem = failure if isinstance(failure, Refused) else problem or failure
        if not parts and 0 not in heads.values() and len(found) > 2 and computed < MOST_SETS:
            computed += 1
            say(f"set {mark}: its line 0 was not read and is computed; with many lines that takes minutes")
            parts = guesses(mark, found)
            say(f"set {mark}: line 0 may be " + (" or ".join(head.text for head, _ in parts) or "nothing that fits"))
            for head, _ in parts:
                say(f"set {mark}: data lines not read: {[n for n in range(1, head.data + 1) if n not in found] or 'none'}")
        for head, body in parts:
            yield Part(head.digest if len(parts) > 1 else mark, head, body, body[:15], "")
        if isinstance(problem, Refused):
            say(str(problem))
        elif not parts:
            problem = problem or f"set {mark}: line 0 was not read and cannot be computed: type it, or more lines"
            yield Part(mark, min(heads, key=heads.get) if heads else None, None, line_1, str(problem))

# ---- Which set, or which shares ----
def joined(shares, at):
    """The share number `at` that lies on the polynomials of these, {number: bytes}; number 0 is the secret."""
    total = bytes(len(min(shares.values())))
    for x, share in shares.items():
        factor = functools.reduce(SHARE.times, (SHARE.over(other ^ at, other ^ x) for other in shares if other != x), 1)
        total = xor(total, share.translate(SHARE.tables[factor]))
    return total
def join(head, parts, trusted, say):
    """The body proper, from complete shares of one commitment."""
    variants = collections.defaultdict(dict)  # {share number: {share of the secret: name}}
    for part in trusted + [p for p in parts if p.head.share not in [q.head.share for q in trusted]]:
        variants[part.head.share][part.body[15:]] = part.name
    start = b"Ragleaf shares 1" + bytes([head.threshold, head.count])
    chosen = (dict(zip(numbers, some)) for numbers in itertools.combinations(variants, head.threshold)
              for some in itertools.product(*(variants[x] for x in numbers)))
    for shares in itertools.islice(chosen, MOST_JOINS):
        if len(set(map(len, shares.values()))) == 1:
            secret = joined(shares, 0)
            if len(secret) > 16 and hashlib.sha256(start + secret).digest()[:15] == parts[0].first:
                bad = [name for x, some in variants.items() for share, name in some.items() if joined(shares, x) != share]
                say(f"joined; shares that are wrong: {', '.join(bad) or 'none'}")
                return secret[:-16]
    raise Failure(f"no {head.threshold} of these shares join to what they commit to: bring others")
def certificate_of(part):
    """The certificate in a complete set that carries one, otherwise None."""
    plain = part.body and not part.head.flags and not part.head.threshold
    return part.body[1:-32] if plain and part.body[0] == 7 and whole_payload(part.body) else None
def names_of(part):
    """What --mark may name it by: the set mark, the nine digest characters, or the backup number."""
    head = part.head
    return {part.name, part.name[:5]} | ({head.digest, head.backup if head.threshold else head.digest} if head else set())
def choose(parts, marks, say):
    """(sealed, split, body proper) of the one set or backup at hand, or of the one that --mark names."""
    named = [part for part in parts if names_of(part) & marks] if marks else parts
    missing = marks.difference(*map(names_of, parts))
    if missing:
        raise Failure("no set at hand has this name: " + ", ".join(missing))
    pool = [part for part in named if certificate_of(part) is None] or named
    families = collections.defaultdict(set)  # the commitments of shares that agree in the rest
    backup = lambda part: (part.head.flags, part.head.backup, part.head.threshold, part.head.count)
    for part in parts:
        if part.head and part.head.threshold and part.first:
            families[backup(part)].add(part.first)
    def key(part):
        if not (part.head and part.head.threshold):
            return part.name
        return backup(part) + (part.first or (min(families[backup(part)]) if len(families[backup(part)]) == 1 else None),)
    sides = collections.defaultdict(list)
    for part in pool:
        sides[key(part)].append(part)
    def ask(why):
        told = []
        for number, side in enumerate(list(sides.values())[:50], 1):
            head = side[0].head
            what = f"backup {head.backup}, any {head.threshold} of {head.count}" if head and head.threshold else "set"
            names = [p.name + (f", share {p.head.share}" if p.head and p.head.threshold else "") + ", not complete" * (not p.body)
                     for p in sorted(side, key=lambda p: (p.head.share if p.head else 0, p.name))]
            told.append(f"\n  {number}. {what}: " + "; ".join(names))
        raise Failure(why + "".join(told))
    if len(sides) > 1:
        ask("there is more than one set or backup. Choose with --mark MARK, of a share that you believe if they are shares:")
    one = pool[0]
    if not (one.head and one.head.threshold):
        if one.body is None:
            raise Failure(one.problem)
        return one.head.flags, False, one.body
    side = [part for part in parts if key(part) == key(one)]
    whole = [part for part in side if part.body is not None]
    trusted = [part for part in whole if names_of(part) & (marks - {part.head.backup})]
    sides = {key(one): side}
    if len({(p.head.share, p.body) for p in trusted or whole}) != len({p.head.share for p in trusted or whole}):
        ask("two shares of one number differ. Name one that you believe with --mark MARK:")
    if len({p.head.share for p in whole}) < one.head.threshold:
        raise Failure("\n".join([f"{one.head.threshold} whole shares are needed, these are at hand: "
                                 f"{sorted({p.head.share for p in whole}) or 'none'}"] + [p.problem for p in side if p.problem]))
    return one.head.flags, True, join(one.head, whole, trusted, say)

# ---- A sealed body: Argon2id (RFC 9106) makes the key of ChaCha20-Poly1305 (RFC 8439) ----
QUARTERS = [(i, (i + s) % 4 + 4, (i + 2 * s) % 4 + 8, (i + 3 * s) % 4 + 12) for s in (0, 1) for i in range(4)]
ROWS = [range(16 * i, 16 * i + 16) for i in range(8)]
COLUMNS = [[2 * i + 16 * j + k for j in range(8) for k in (0, 1)] for i in range(8)]
STEPS = [[at[i] for i in quarter] for at in ROWS + COLUMNS for quarter in QUARTERS]
M32, M64 = 2 ** 32 - 1, 2 ** 64 - 1
def compress(x, y):
    """The function G of RFC 9106, section 3.5, on blocks of 1024 bytes."""
    mixed = xor(x, y)
    w = list(struct.unpack("<128Q", mixed))
    for a, b, c, d in STEPS:
        for i, j, k, turn in ((a, b, d, 32), (c, d, b, 24), (a, b, d, 16), (c, d, b, 63)):
            w[i] = (w[i] + w[j] + 2 * (w[i] & M32) * (w[j] & M32)) & M64
            t = w[k] ^ w[i]
            w[k] = (t >> turn | t << 64 - turn) & M64
    return xor(struct.pack("<128Q", *w), mixed)
def long_hash(data, size):
    """H' of RFC 9106, section 3.3."""
    data = struct.pack("<I", size) + data
    if size <= 64:
        return hashlib.blake2b(data, digest_size=size).digest()
    out, block = b"", hashlib.blake2b(data).digest()
    while size - len(out) > 64:
        out, block = out + block[:32], hashlib.blake2b(block, digest_size=min(64, max(size - len(out) - 32, 33))).digest()
    return out + block
def argon2id(password, salt, passes, lanes, memory):
    """32 bytes; memory in KiB (RFC 9106, sections 3.2 to 3.4)."""
    segment, columns = memory // (4 * lanes), memory // (4 * lanes) * 4
    start = struct.pack("<7I", lanes, 32, memory, passes, 0x13, 2, len(password)) + password
    start = hashlib.blake2b(start + struct.pack("<I", len(salt)) + salt + bytes(8)).digest()
    blocks = [[long_hash(start + struct.pack("<2I", c, lane), 1024) for c in (0, 1)] + [b""] * (columns - 2)
              for lane in range(lanes)]
    for turn, part, lane in itertools.product(range(passes), range(4), range(lanes)):
        row, addresses = blocks[lane], b""
        for i in range(2 if turn == part == 0 else 0, segment):
            c = part * segment + i
            if turn == 0 and part < 2:  # the place of the other block does not depend on the passphrase
                if i % 128 == 0 or not addresses:
                    counts = struct.pack("<7Q", turn, lane, part, lanes * columns, passes, 2, i // 128 + 1)
                    addresses = compress(bytes(1024), compress(bytes(1024), counts.ljust(1024, b"\0")))
                j1, j2 = struct.unpack_from("<2I", addresses, i % 128 * 8)
            else:
                j1, j2 = struct.unpack_from("<2I", row[c - 1])
            other = lane if turn == part == 0 else j2 % lanes
            area = (part * segment if turn == 0 else columns - segment) + (i - 1 if other == lane else -(i == 0))
            place = area - 1 - (area * (j1 * j1 >> 32) >> 32) + (0 if turn == 0 else (part + 1) * segment)
            block = compress(row[c - 1], blocks[other][place % columns])
            row[c] = xor(block, row[c]) if turn else block
    return long_hash(functools.reduce(xor, (row[-1] for row in blocks)), 32)
def chacha20(key, counter):
    state = struct.unpack("<16I", b"expand 32-byte k" + key + struct.pack("<4I", counter, 0, 0, 0))
    w = list(state)
    for a, b, c, d in QUARTERS * 10:
        for i, j, k, turn in ((a, b, d, 16), (c, d, b, 12), (a, b, d, 8), (c, d, b, 7)):
            w[i] = (w[i] + w[j]) & M32
            t = w[k] ^ w[i]
            w[k] = (t << turn | t >> 32 - turn) & M32
    return struct.pack("<16I", *((x + y) & M32 for x, y in zip(w, state)))
def unseal(body, passphrase):
    """The payload's kind and content."""
    (passes, lanes, memory), text, tag = (body + bytes(3))[:3], body[19:-16], body[-16:]
    if not (1 <= passes <= 16 and 1 <= lanes <= 16 and 10 <= memory <= 20 and passes << memory <= 2 ** 22):
        raise Failure("the seal's parameters are out of bounds")
    key = argon2id(unicodedata.normalize("NFC", passphrase).encode(), body[3:19], passes, lanes, 2 ** memory)
    r, s = (int.from_bytes(chacha20(key, 0)[i:i + 16], "little") for i in (0, 16))
    r, total = r & 0x0FFFFFFC0FFFFFFC0FFFFFFC0FFFFFFF, 0
    signed = text + bytes(-len(text) % 16) + struct.pack("<2Q", 0, len(text))
    for i in range(0, len(signed), 16):
        total = (total + int.from_bytes(signed[i:i + 16] + b"\1", "little")) * r % (2 ** 130 - 5)
    if (total + s) % 2 ** 128 != int.from_bytes(tag, "little"):
        raise Failure("the passphrase is not that of the seal")
    return b"".join(xor(text[i:i + 64], chacha20(key, i // 64 + 1)[:len(text) - i]) for i in range(0, len(text), 64))

# ---- The payload, and the key ----
class Bytes:
    """Bytes, taken field by field."""
    def __init__(self, data):
        self.data = data
    def take(self, size):
        if size > len(self.data):
            raise Failure("the content ends too early: it is not of format version 1")
        field, self.data = self.data[:size], self.data[size:]
        return field
    def sized(self, width, *sizes):
        """A field behind its length, which takes so many bytes, and is one of these if any are given."""
        size = int.from_bytes(self.take(width), "big")
        return self.take(known(size, sizes or (size,), "length"))
def known(value, values, what):
    if value not in values:
        raise Failure(f"{what} {value} is not of format version 1")
    return value
def packets(data):
    """(type, is the header of the old form, packet, body) of each OpenPGP packet (RFC 9580, section 4.2)."""
    rest = Bytes(data)
    while rest.data:
        before, tag = rest.data, rest.take(1)[0]
        old, kind = not tag & 64, tag & 63 if tag & 64 else tag >> 2 & 15
        first = rest.take(1 << (tag & 3) if old and tag & 3 < 3 else 1)
        if not tag & 128 or (old and tag & 3 == 3) or (not old and 223 < first[0] < 255):
            raise Failure("the certificate is no OpenPGP file, or holds packets without a stated length")
        size = int.from_bytes(first, "big")
        if not old and size > 191:
            size = int.from_bytes(rest.take(4), "big") if size == 255 else (size - 192 << 8) + rest.take(1)[0] + 192
        body = rest.take(size)
        yield kind, old, before[:len(before) - len(rest.data)], body
def fingerprint(body):
    new = hashlib.sha256(b"\x9b" + struct.pack(">I", len(body)) + body).digest()
    return new if body[:1] == b"\6" else hashlib.sha1(b"\x99" + struct.pack(">I", len(body))[2:] + body).digest()
def packet(kind, old, width, body):
    """With a header of that form, its length field so many bytes wide or the next width that holds the length."""
    n = len(body)
    if old:
        width = next(w for w in (1, 2, 4) if w >= width and n < 256 ** w)
        return bytes([128 | kind << 2 | width // 2]) + n.to_bytes(width, "big") + body
    width = next(w for w, limit in ((1, 192), (2, 8384), (5, 2 ** 32)) if w >= width and n < limit)
    size = {1: n, 2: n - 192 + 0xC000, 5: 0xFF << 32 | n}[width]
    return bytes([192 | kind]) + size.to_bytes(width, "big") + body
def merge(certificate, secrets):
    """The key file: the certificate, in which each public-key packet that has a part is the secret one: its body, then the
    secret part."""
    out, missing = b"", dict(secrets)
    for kind, old, raw, body in packets(certificate):
        if kind in (6, 14) and fingerprint(body) in secrets:
            if not missing.pop(fingerprint(body), None):
                raise Failure("the certificate has a key twice")
            raw = packet({6: 5, 14: 7}[kind], old, len(raw) - len(body) - 1, body + secrets[fingerprint(body)])
        out += raw
    if missing:
        raise Failure("the certificate has no key with the fingerprint " + ", ".join(f.hex().upper() for f in missing))
    return out
def dearmor(data):
    armored = re.search(rb"-----BEGIN PGP [^\n]*\n(?:[^\n]*: ?[^\n]*\n)*\s*\n([^-=]+=*)", data.replace(b"\r", b""))
    return base64.b64decode(armored[1]) if armored else data
def content_of(payload, certificates, sealed, split):
    """What to write for a payload's kind and content."""
    kind, rest, text = Bytes(payload).take(1)[0], Bytes(payload[1:]), ""
    if kind == 1:
        count = rest.take(1)[0]
        sizes = struct.unpack(">%dH" % count, rest.take(2 * count))
        names = [rest.sized(1, 20, 32) for _ in sizes]
        secrets = dict(zip(names, map(rest.take, sizes)))
        if rest.data or not all(secrets.values()) or not 0 < len(sizes) == len(secrets):
            raise Failure("the content is not of format version 1")
        fits, problem = set(), None
        for certificate in certificates:
            try:
                fits.add(merge(certificate, secrets))
            except Failure as failure:
                problem = failure
        if len(fits) > 1:
            raise Failure("several certificates fit: name the set of one with --mark MARK besides, or give it with --public")
        if fits:
            return fits.pop()
        if problem:
            raise problem
        text = "".join(f"fingerprint {f.hex()}\nsecret part {secret.hex()}\n" for f, secret in secrets.items())
    elif kind == 3:
        while rest.data:
            form = rest.take(1)[0]
            known(form & 127 if form != 128 else form, range(5), "form")
            names = (("value", 2), ("prefix", 1)) if form else (("fingerprint", 1), ("secret part", 2))
            text += f"form {form}\n" + "".join(f"{name} {rest.sized(width).hex()}\n" for name, width in names)
            text += f"check {rest.take(8).hex()}\n" if form else ""
    elif kind in (2, 4, 6, 7):
        if kind == 7 and (sealed or split):
            raise Failure("a certificate is never sealed or split: refused")
        if kind in (4, 6):
            rest.take(16 if kind == 4 else 0)
            rest.sized(1, *((20, 32) if kind == 6 else ()))
        return rest.take(max(1, len(rest.data)))
    elif kind == 5:
        text = f"name {rest.sized(1).decode()}\nstyle {known(rest.take(1)[0], range(1, 5), 'style')}\n"
        text += f"rule of d {known(rest.take(1)[0], (2, 3), 'rule')}\n"
        text += "".join(f"{name} {rest.sized(width).hex()}\n" for name, width in (("e", 1), ("p", 2), ("q", 2)))
    else:
        known(kind, range(1, 8), "payload kind")
    return text.encode()
def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name, how in (("files", {"nargs": "+"}), ("-o", {"dest": "out", "required": True}), ("--public", {"metavar": "CERT"}),
                      ("--mark", {"action": "append", "default": []})):
        parser.add_argument(name, **how)
    given = parser.parse_args()
    say = lambda text: print(text, file=sys.stderr)
    try:
        marks = {"".join(ALPHABET[VALUE[c]] for c in mark.translate(TIDY) if c in VALUE) for mark in given.mark}
        rows = list(itertools.islice(itertools.chain.from_iterable(map(rows_of, given.files)), MOST_ROWS + 1))
        if len(rows) > MOST_ROWS:
            say(f"more than {MOST_ROWS} rows: those from {rows.pop().file} row {rows[-1].place} on are not looked at")
        parts = list(parts_of(*collect(rows, say), say))
        if not parts:
            raise Failure("neither a head line (line 0) of version 1 with its lines nor three lines of one set could be read")
        sealed, split, body = choose(parts, marks, say)
        if not sealed and not whole_payload(body):
            raise Failure("the payload's SHA-256 disagrees: nothing is written")
        payload = unseal(body, getpass.getpass("Passphrase of the seal (opening takes minutes): ")) if sealed else body[:-32]
        carriers = [part for part in parts if certificate_of(part) is not None]
        carriers = [part for part in carriers if names_of(part) & marks] or carriers
        public = [dearmor(pathlib.Path(given.public).read_bytes())] if given.public else map(certificate_of, carriers)
        content = content_of(payload, public, sealed, split)
        with os.fdopen(os.open(given.out, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
            try:
                out.write(content)
                out.flush()
            except OSError:
                os.unlink(given.out)
                raise
        bare = payload[0] in (3, 5) or payload[0] == 1 and b"secret part 00" in content
        say(f"{given.out}: {len(content)} bytes" + "; it is the BARE SECRET: use it, then destroy it" * bare)
    except EOFError:
        sys.exit("Not restored: no passphrase was typed, and it takes one")
    except (Failure, OSError, ValueError) as failure:
        sys.exit(f"Not restored: {failure}")

if __name__ == "__main__":
    main()
