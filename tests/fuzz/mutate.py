"""Changes of a file that keep it nearly what it was: words, lines and numbers, or a few bytes."""

from __future__ import annotations

import random
import re

#: What a person's file should never hold, and now and then does.
HOSTILE = [
    "", " ", "nan", "inf", "-inf", "-1", "0", "1e999", "1e12", "-9999", "99999999999999999999",
    "1,5", "0x10", "١٢", "½", "−3", "12 parsecs", "3 m2", "3 mm/h/h", "true", "null", "~", "{}",
    "[]", "[[", "- -", ": :", "&a [*a, *a]", "*nobody", "!!python/object:os.system", "|", ">", "? ",
    "#", "%", "../../../etc/passwd", "/etc/passwd", "C:\\nul", "nul", "con",
    "http://127.0.0.1/x.tif", "/vsicurl/http://127.0.0.1/x.tif", "=1+1", "@x",
    "<script>alert(1)</script>", "\x00", "\ufeff", "\u202e", "a" * 3000, "2026-02-30", "0000-00-00",
    "31.12.2020", "12/31/2020", "N 12", "'", '"', "\t"]
#: How many places are changed at once: a file with many faults is refused for the first of them.
_PLACES = (1, 1, 1, 1, 2, 3)
_TOKEN = re.compile(r"[^\s,;:\[\]{}\"'<>=]+")


def mutate(data: bytes, seeds: tuple[bytes, ...], rng: random.Random) -> bytes:
    """A text that was changed in one place, seldom in two or three."""
    text = data.decode("utf-8", "surrogateescape")
    for _ in range(rng.choice(_PLACES)):
        text = rng.choice(_CHANGES)(text, seeds, rng)
    return text[:200_000].encode("utf-8", "surrogateescape")


def mutate_bytes(data: bytes, rng: random.Random) -> bytes:
    """Bytes of which one was changed, seldom two or three, or a piece written twice or left out."""
    changed = bytearray(data)
    for _ in range(rng.choice(_PLACES)):
        if not changed:
            break
        at = rng.randrange(len(changed))
        kind = rng.randrange(10)
        if kind < 4:
            changed[at] = rng.randrange(256)
        elif kind < 7:
            changed[at] ^= 1 << rng.randrange(8)
        elif kind < 8:
            changed[at:at + 4] = rng.choice(_WORDS)[:len(changed[at:at + 4])]
        elif kind < 9:
            del changed[at:at + rng.randint(1, 8)]
        else:
            changed[at:at] = changed[at:at + rng.randint(1, 8)]
    return bytes(changed)


def _word(text: str, _: tuple[bytes, ...], rng: random.Random) -> str:
    found = list(_TOKEN.finditer(text[:100_000]))
    if not found:
        return text
    where = rng.choice(found)
    return text[:where.start()] + rng.choice(HOSTILE) + text[where.end():]


def _number(text: str, _: tuple[bytes, ...], rng: random.Random) -> str:
    found = list(re.finditer(r"-?\d+(\.\d+)?", text[:100_000]))
    if not found:
        return text
    where = rng.choice(found)
    value = float(where[0])
    other = rng.choice([-value, value * 10, value / 10, value + 1, value * 1e9, value * 1e-9, 0.0])
    return text[:where.start()] + f"{other:.12g}" + text[where.end():]


def _lines(text: str, seeds: tuple[bytes, ...], rng: random.Random) -> str:
    lines = text.split("\n")
    other = rng.choice(seeds).decode("utf-8", "surrogateescape").split("\n")
    here, there = rng.randrange(len(lines)), rng.randrange(len(lines))
    kind = rng.randrange(6)
    if kind == 0:
        del lines[here]
    elif kind == 1:
        lines.insert(there, lines[here])
    elif kind == 2:
        lines[here], lines[there] = lines[there], lines[here]
    elif kind == 3:
        lines.insert(here, rng.choice(other))
    elif kind == 4:
        lines[here] = "  " * rng.randrange(4) + lines[here].strip()
    else:
        lines = lines[:here + 1]
    return "\n".join(lines)


def _signs(text: str, _: tuple[bytes, ...], rng: random.Random) -> str:
    if not text:
        return rng.choice(HOSTILE)
    at = rng.randrange(min(len(text), 100_000))
    return text[:at] + rng.choice([*",;:\n\r\t\"'[]{}<>&=-|#\x00\x1a\ufeff", "\r\n", "  "]) + text[
        at + rng.randrange(3):]


#: Numbers at the ends of what four bytes hold, and those that are none.
_WORDS = (b"\0\0\0\0", b"\xff\xff\xff\xff", b"\xff\xff\xff\x7f", b"\0\0\0\x80",
          b"\0\0\xc0\x7f", b"\0\0\x80\x7f")
_CHANGES = (_word, _word, _number, _lines, _lines, _signs)
