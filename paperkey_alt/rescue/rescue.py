"""Restore a key from Ragleaf sheets with nothing but Python (3.8 or later) and what stands on the paper.

    python3 rescue.py FILES... -o OUT [--public CERT]

FILES are text files: rows typed from the sheets (line number, then the line), or the texts of QR blocks, one a row. CERT is the
public certificate, for sheets that carry only what is secret. Written from the format document, version 1, alone.
The way back: rows -> lines and spare lines -> body -> [join shares] -> [open the seal] -> payload -> key.
"""
import argparse, base64, collections, functools, getpass, hashlib, itertools, operator, os, pathlib, re, struct, sys, unicodedata
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
VALUE = dict({c: v for v, c in enumerate(ALPHABET)}, **{"0": 14, "8": 1})  # 0 is read as O, 8 as B

class Failure(Exception):
    """What is wrong, and what to do about it."""

# ---- Fields, and Reed-Solomon codes over them. A word is a list of symbols, highest power first. ----
class Field:
    """GF(size) by tables of the powers and logarithms of a generator, 2 or 3."""
    def __init__(self, polynomial, size, generator=2):
        self.order, self.power, self.log, element = size - 1, [], {}, 1
        for exponent in range(self.order):
            self.power.append(element)
            self.log[element] = exponent
            doubled = min(element * 2, element * 2 ^ polynomial)  # whichever is below the size
            element = doubled if generator == 2 else doubled ^ element
    def times(self, a, b):
        return self.power[(self.log[a] + self.log[b]) % self.order] if a and b else 0
    def over(self, a, b):
        return self.power[(self.log[a] - self.log[b]) % self.order] if a else 0
    def value(self, word, x):
        return functools.reduce(lambda total, symbol: self.times(total, x) ^ symbol, word, 0)
    def syndromes(self, word, count):
        """The values of the word at the roots of the code's generator polynomial: all zero for a right word."""
        return [self.value(word, root) for root in self.power[:count]]
    def corrections(self, powers, syndromes):
        """What to add to the symbols of these powers so that all syndromes vanish, or None (Forney's formula)."""
        xs, amounts = [self.power[power] for power in powers], []
        omega = syndromes[: len(xs)]  # lowest power first; becomes syndromes * product of (1 - x z), cut off behind z^(len - 1)
        for x in xs:
            omega = [s ^ self.times(x, before) for s, before in zip(omega, [0] + omega)]
        for x in xs:
            product = functools.reduce(self.times, (1 ^ self.over(other, x) for other in xs if other != x), 1)
            amounts.append(self.over(self.value(omega[::-1], self.over(1, x)), product))
        terms = amounts
        for syndrome in syndromes:
            if functools.reduce(operator.xor, terms, syndrome):
                return None
            terms = [self.times(term, x) for term, x in zip(terms, xs)]
        return amounts
LINE, SPARE, SHARE = Field(0x25, 32), Field(0x11D, 256), Field(0x11B, 256, 3)  # in the last field 2 is no generator, 3 is one

# ---- A line: 31 symbols, of which the first two are the number ----
def mend(word, errors):
    """(cost, word): the right word next to this one; None if there is none. An unreadable symbol (None) costs 1, a wrong one 2;
    together at most 4, of the 5 that the check could bear."""
    lost, known = [i for i in range(31) if word[i] is None], [symbol or 0 for symbol in word]
    syndromes = LINE.syndromes(known, 5)
    for wrong in range(min(errors, (4 - len(lost)) // 2) + 1):
        for few in itertools.combinations([i for i in range(31) if i not in lost], wrong):
            amounts = LINE.corrections([30 - i for i in lost + list(few)], syndromes)
            if amounts is not None:
                for i, amount in zip(lost + list(few), amounts):
                    known[i] ^= amount
                return len(lost) + 2 * wrong, known
def trials(text):
    """The 29 values that the characters of a row may stand for: (cost, wrong symbols allowed besides, values)."""
    for one in "IL?" if "1" in text else "I":
        values = [VALUE.get(one if c == "1" else c) for c in text]
        if len(values) == 29:
            yield 0, 2, values
            yield from ((2, 0, values[:i] + [values[i + 1], values[i]] + values[i + 2:]) for i in range(28))
        elif len(values) == 28:
            yield from ((1, 0, values[:i] + [None] + values[i:]) for i in range(29))
        elif len(values) == 30:
            yield from ((2, 0, values[:i] + values[i + 1:]) for i in range(30))
def read_line(ways, mark, highest, mending):
    """The cheapest (cost, number, data characters) that a row can stand for, if one line alone is as cheap; otherwise None.
    ways: how the row may be taken apart, each (number or None, characters). The number must be 1 to highest, or 0 if 0 is."""
    found = set()
    for number, text in ways:
        for cost, errors, values in trials(text):
            if cost and not mending:
                continue
            check = [c if c is None else c ^ VALUE[m] for c, m in zip(values[24:], mark)]
            digits = [None, None] if number is None else [number // 32, number % 32]
            result = mend(digits + values[:24] + check, errors if mending else 0)
            if result and min(1, highest) <= result[1][0] * 32 + result[1][1] <= highest:
                cost, word = cost + result[0], result[1]
                found.add((cost, word[0] * 32 + word[1], "".join(ALPHABET[v] for v in word[2:26])))
                if cost == 0:
                    return min(found)
    best = [line for line in found if line[0] == min(found)[0]]
    return best[0] if len(best) == 1 else None

# ---- Rows of files ----
Row = collections.namedtuple("Row", "file place ways")
def tidy(text):
    """The characters without white space and hyphens of any kind, in capitals."""
    kept = (c for c in text if not c.isspace() and unicodedata.category(c) != "Pd" and c not in "\u2212\u00ad")
    return "".join(c.upper() if c.isascii() else "?" for c in kept)
def rows_of(path):
    for place, text in enumerate(pathlib.Path(path).read_text("utf-8-sig", "replace").split("\n"), 1):
        block, ways = re.match(r"\s*0\s+([^/]{29})/([0-9]{1,4})\s(.+)", text), []
        if block:  # the text of a QR block
            yield Row(path, place, [(0, tidy(block[1]))])
            run = tidy(block[3])
            yield from (Row(path, place, [(int(block[2]) + i // 29, run[i:i + 29])]) for i in range(0, len(run), 29))
        elif text.strip() and not text.lstrip().startswith("#"):
            whole, apart = tidy(text), re.match(r"\s*([0-9]{1,4})\s+(.*)", text)
            if apart:
                ways.append((int(apart[1]), tidy(apart[2])))
            elif 30 <= len(whole) <= 33 and re.match("[0-9]+$", whole[:-29]):  # the number touches the line
                ways.append((int(whole[:-29]), whole[-29:]))
            yield Row(path, place, [way for way in ways if way[0] < 1024] + ([(None, whole)] if 27 < len(whole) < 31 else []))
Head = collections.namedtuple("Head", "text version flags data spare padding share threshold count backup mark digest")
def find_heads(rows, say):
    """{index of the row: Head} of all rows that hold a head line."""
    heads = {}
    for index, row in enumerate(rows):
        ways = [(0, text) for number, text in row.ways if not number]
        line = read_line(ways, "AAAAA", 0, any(number == 0 for number, _ in row.ways))
        if line:
            text, v = line[2], [VALUE[c] for c in line[2]]
            head = Head(text, v[0], v[1], v[2] * 32 + v[3], v[4] * 32 + v[5], *v[6:10], text[10:15], text[15:20], text[15:])
            sound = head.version == 1 and head.flags < 2 and 0 < head.data <= 1023 - head.spare and head.padding < 15
            sound = sound and head.spare <= 254 * head.data and (min(v[7:10]) > 0) == (max(v[7:10]) > 0)
            if sound:
                heads[index] = head
            if line[0] or not sound:
                say(f"{row.file} row {row.place}: line 0: " + ("mended" if sound else "not of version 1: not read"))
    if not heads:
        raise Failure("no head line (line 0) could be read: type it from the top of any sheet")
    return heads
def collect(rows, say):
    """{Head: {line number: {(cost, number, characters), ...}}}; tells of every row that is not fine."""
    heads, here, last = find_heads(rows, say), {}, {}
    sets = {head: collections.defaultdict(set) for head in heads.values()}
    for index in sorted(heads, reverse=True):
        here[rows[index].file] = heads[index]  # what stands above a file's first head line belongs to that
    for index, row in enumerate(rows):
        if index in heads:
            if here[row.file] != heads[index]:
                here[row.file], last[row.file] = heads[index], 0
            continue
        bare = row.ways and row.ways[0][0] is None  # no number: the one after the last line's is tried, then any
        ways = [(min(last.get(row.file, 0) + 1, 1023), row.ways[0][1])] if bare else []
        ways += [(number, text) for number, text in row.ways if number is not None or len(text) == 29]
        near, found = [here[row.file]] if row.file in here else list(sets), []
        for mending, marks in ((False, near), (False, sets), (True, near)):
            found = found or [(h, line) for h in marks for line in [read_line(ways, h.mark, h.data + h.spare, mending)] if line]
        stated = row.ways[0][0] if row.ways else None
        place = f"{row.file} row {row.place}: line {'without a number' if stated is None else stated}: "
        if len(found) != 1:
            say(place + "WRONG and not to be mended: compare it with the paper")
            continue
        head, (cost, number, characters) = found[0]
        sets[head][number].add((cost, number, characters))
        last[row.file] = number
        if cost:
            typed = row.ways[0][1]
            wrong = [str(i + 1) for i in range(24) if VALUE.get(typed[i:i + 1]) != VALUE[characters[i]]]
            wrong = {28: ["one is missing"], 29: wrong, 30: ["one is too many"]}.get(len(typed), [])
            say(place + f"mended, is line {number}; wrong characters: " + (", ".join(wrong) or "in number or check alone"))
    return sets

# ---- Lines and spare lines to the body ----
def solve(head, lines):
    """{number: 15 bytes} of all data lines, from those at hand; None where spare lines do not suffice or disagree."""
    whole = dict(lines)
    groups = next(g for g in range(1, 1024) if -(-head.data // g) - (-head.spare // g) <= 255)
    for group in range(groups):
        spare = list(range(head.data + 1 + group, head.data + head.spare + 1, groups))
        word = list(range(1 + group, head.data + 1, groups)) + spare  # the numbers of its lines, in order
        lost = [number for number in word if number not in lines]
        if lost and lost[0] <= head.data:
            if len(lost) > len(spare):
                return None
            powers = [len(word) - 1 - word.index(number) for number in lost]
            columns = [[lines[n][j] if n in lines else 0 for n in word] for j in range(15)]
            columns = [SPARE.corrections(powers, SPARE.syndromes(column, len(spare))) for column in columns]
            if None in columns:
                return None
            whole.update(zip(lost, map(bytes, zip(*columns))))
    return whole
def body_of(head, found, say):
    """The body of a set, once its digest agrees."""
    best = {n: [line for line in some if line[0] == min(some)[0]] for n, some in found.items()}
    lines = {n: base64.b32decode(some[0][2]) for n, some in best.items() if len(some) == 1}
    costs = {n: best[n][0][0] for n in lines if best[n][0][0]}
    doubts = [{n for n in costs if costs[n] >= limit} for limit in (9, 4, 3, 2, 1)]  # none, the most mended, ..., all mended
    doubts += [set(few) for size in (1, 2) for few in itertools.islice(itertools.combinations(costs, size), 500)]
    for doubted in doubts:
        whole = solve(head, {n: line for n, line in lines.items() if n not in doubted})
        if whole:
            padded = b"".join(whole[n] for n in range(1, head.data + 1))
            body, padding = padded[:len(padded) - head.padding], padded[len(padded) - head.padding:]
            digest = base64.b32encode(hashlib.sha256(head.text[:15].encode() + body).digest()).decode()[:9]
            if digest == head.digest and not any(padding):
                solved = [n for n in range(1, head.data + 1) if n not in lines or n in doubted]
                say(f"set {head.mark}: the digest agrees; lines solved for with the spare lines: {solved or 'none'}")
                return body
    lost = [n for n in range(1, head.data + 1) if n not in lines]
    raise Failure(f"set {head.mark}: not restored. Data lines lost, wrong or read in two ways: {lost or 'none'}; mended: "
                  f"{sorted(costs) or 'none'}; spare lines read: {sum(n > head.data for n in lines)} of {head.spare}. "
                  "Read these lines again, or type more spare lines")
def join(shares):
    """The body from {share number: body of the share}; None if the share check disagrees."""
    joined = [0] * max(map(len, shares.values()))
    for x, share in shares.items():
        factor = functools.reduce(SHARE.times, (SHARE.over(other, other ^ x) for other in shares if other != x), 1)
        joined = [total ^ SHARE.times(factor, byte) for total, byte in zip(joined, share)]
    body, check = bytes(joined[:-8]), bytes(joined[-8:])
    return body if hashlib.sha256(body).digest()[:8] == check else None
def body_proper(sets, say):
    """(sealed, body), from the one set at hand or joined from shares."""
    used = [head for head in sets if sets[head]]
    if len({(h.flags, h.backup, h.threshold, h.count) for h in used}) != 1 or (len(used) > 1 and not used[0].threshold):
        raise Failure(f"sets with lines: {', '.join(h.mark for h in used) or 'none'}; give the files of one backup")
    if not used[0].threshold:
        return used[0].flags, body_of(used[0], sets[used[0]], say)
    shares = {}
    for head in used:
        try:
            shares[head.share] = body_of(head, sets[head], say)
        except Failure as failure:
            say(str(failure))
    if len(shares) < used[0].threshold:
        raise Failure(f"{used[0].threshold} whole shares are needed, these are at hand: {sorted(shares) or 'none'}")
    for numbers in itertools.combinations(sorted(shares), used[0].threshold):
        if join({x: shares[x] for x in numbers}):
            return used[0].flags, join({x: shares[x] for x in numbers})
    raise Failure("the share check disagrees: these shares do not belong together; bring another one")

# ---- A sealed body: Argon2id (RFC 9106) makes the key of ChaCha20-Poly1305 (RFC 8439) ----
QUARTERS = [(i, (i + s) % 4 + 4, (i + 2 * s) % 4 + 8, (i + 3 * s) % 4 + 12) for s in (0, 1) for i in range(4)]
ROWS = [range(16 * i, 16 * i + 16) for i in range(8)]
COLUMNS = [[2 * i + 16 * j + k for j in range(8) for k in (0, 1)] for i in range(8)]
STEPS = [[at[i] for i in quarter] for at in ROWS + COLUMNS for quarter in QUARTERS]
M32, M64 = 2 ** 32 - 1, 2 ** 64 - 1
def xor(a, b):
    return (int.from_bytes(a, "little") ^ int.from_bytes(b, "little")).to_bytes(len(a), "little")
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
    def sized(self, width):
        """A field behind its length, which takes so many bytes."""
        return self.take(int.from_bytes(self.take(width), "big"))
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
def packet(kind, old, body):
    """With the shortest header of that form."""
    n = len(body)
    if old:
        return bytes([128 | kind << 2 | (n > 255) + (n > 65535)]) + n.to_bytes(1 << (n > 255) + (n > 65535), "big") + body
    size = bytes([n]) if n < 192 else struct.pack(">H", n - 192 + 0xC000) if n < 8384 else b"\xff" + struct.pack(">I", n)
    return bytes([192 | kind]) + size + body
def merge(certificate, secrets):
    """The certificate with its secrets in: {fingerprint: secret part}."""
    out, missing = b"", set(secrets)
    for kind, old, raw, body in packets(certificate):
        secret = secrets.get(fingerprint(body)) if kind in (6, 14) else None
        missing -= {fingerprint(body)} if secret else set()
        out += packet({6: 5, 14: 7}[kind], old, body + secret) if secret else raw
    if missing:
        raise Failure("the certificate has no key with the fingerprint " + ", ".join(f.hex().upper() for f in missing))
    return out
def dearmor(data):
    armored = re.search(rb"-----BEGIN PGP [^\n]*\n(?:[^\n]*: ?[^\n]*\n)*\s*\n([^-=]+=*)", data.replace(b"\r", b""))
    return base64.b64decode(armored[1]) if armored else data
def content_of(payload, certificate):
    """What to write for a payload's kind and content."""
    kind, rest, text = Bytes(payload).take(1)[0], Bytes(payload[1:]), ""
    if kind == 1:
        secrets = {rest.sized(1): rest.sized(2) for _ in range(rest.take(1)[0])}
        if certificate:
            return merge(certificate, secrets)
        text = "".join(f"fingerprint {f.hex()}\nsecret part {secret.hex()}\n" for f, secret in secrets.items())
    elif kind == 3:
        while rest.data:
            form = rest.take(1)[0]
            names = (("value", 2), ("prefix", 1)) if form & 127 else (("fingerprint", 1), ("secret part", 2))
            text += f"form {form}\n" + "".join(f"{name} {rest.sized(width).hex()}\n" for name, width in names)
            text += f"check {rest.take(8).hex()}\n" if form & 127 else ""
    elif kind in (2, 4, 6):
        return rest.data if kind == 2 else rest.data[1 + len(rest.sized(1)):]
    elif kind == 5:
        text = f"name {rest.sized(1).decode()}\nstyle {rest.take(1)[0]}\nrule of d {rest.take(1)[0]}\n"
        text += "".join(f"{name} {rest.sized(width).hex()}\n" for name, width in (("e", 1), ("p", 2), ("q", 2)))
    else:
        raise Failure(f"payload kind {kind} is not of format version 1")
    return text.encode()
def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name, how in (("files", {"nargs": "+"}), ("-o", {"dest": "out", "required": True}), ("--public", {"metavar": "CERT"})):
        parser.add_argument(name, **how)
    given = parser.parse_args()
    say = lambda text: print(text, file=sys.stderr)
    try:
        sealed, body = body_proper(collect([row for path in given.files for row in rows_of(path)], say), say)
        payload = unseal(body, getpass.getpass("Passphrase of the seal (opening takes minutes): ")) if sealed else body[:-32]
        if not sealed and hashlib.sha256(payload).digest() != body[-32:]:
            raise Failure("the payload's SHA-256 disagrees: nothing is written")
        content = content_of(payload, given.public and dearmor(pathlib.Path(given.public).read_bytes()))
        with os.fdopen(os.open(given.out, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
            out.write(content)
        say(f"{given.out}: {len(content)} bytes" + "; it is the BARE SECRET: use it, then destroy it" * (payload[0] in (3, 5)))
    except (Failure, OSError, ValueError) as failure:
        sys.exit(f"Not restored: {failure}")

if __name__ == "__main__":
    main()
