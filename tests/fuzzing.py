"""Damage done by chance to what comes from outside, each kind tagged, and what is made of it.

``FUZZ`` multiplies how much is tried (1: about a minute in all), ``FUZZ_SEED`` tries other damage::

    FUZZ=200 FUZZ_SEED=7 python -m pytest tests/test_fuzz.py -s
"""

from __future__ import annotations

import copy
import os
import random
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from spraywindow.errors import SprayWindowError

MANY = float(os.environ.get("FUZZ", "1"))
SEED = int(os.environ.get("FUZZ_SEED", "0"))
LONGEST_MESSAGE = 20_000

Way = tuple[Any, ...]


def chances(name: str, count: int) -> Iterator[random.Random]:
    """So many sources of chance, the same ones in every run of a seed."""
    for number in range(max(1, round(count * MANY))):
        yield random.Random(f"{SEED} {name} {number}")


def nested(depth: int) -> Any:
    """A list in a list in a list."""
    value: Any = 1
    for _ in range(depth):
        value = [value]
    return value


ODD: tuple[Any, ...] = (
    None, True, False, "", "x", "0_0", "1e999", "NaN", "\x1b[2J", "a\nb", "\u2028", "=1+1",
    "2026-02-30T25:00Z", "9" * 5000, "m/" * 4000, "x" * 100_000, [], {}, [[]], {"value": 1}, -1, 0,
    1e308, -1e308, float("inf"), float("-inf"), float("nan"), 10**4000, nested(900),
)  # fmt: skip
"""What should stand nowhere."""
NO_NUMBERS: tuple[Any, ...] = (
    None, True, False, "", "x", "0", "0_0", [], {}, [0], float("nan"), float("inf"), nested(900),
)  # fmt: skip
"""In a number's place they tell nothing of the weather."""


def ways(value: Any, so_far: Way = ()) -> list[Way]:
    """The ways to everything in a document: keys and places."""
    out = [so_far] if so_far else []
    if isinstance(value, dict | list):
        pairs = value.items() if isinstance(value, dict) else enumerate(value)
        for key, each in pairs:
            out += ways(each, (*so_far, key))
    return out


def at(document: Any, way: Way) -> Any:
    """What stands at the end of a way."""
    for key in way:
        document = document[key]
    return document


def put(document: Any, value: Any, *found: Way) -> Any:
    """A copy of a document with another value at the end of each way."""
    out = copy.deepcopy(document)
    for way in found:
        at(out, way[:-1])[way[-1]] = value
    return out


def removed(document: Any, *found: Way) -> Any:
    """A copy of a document without what stands at the end of the ways, all of one length."""
    out = copy.deepcopy(document)
    places = [[(isinstance(key, str), key) for key in way] for way in found]
    for place in sorted(places, reverse=True):  # the last of a list first
        way = [key for _, key in place]
        del at(out, tuple(way[:-1]))[way[-1]]
    return out


def shuffled(document: Any, chance: random.Random) -> Any:
    """A copy of a document whose objects name their keys in another order."""
    if isinstance(document, dict):
        keys = list(document)
        chance.shuffle(keys)
        return {key: shuffled(document[key], chance) for key in keys}
    return [shuffled(each, chance) for each in document] if isinstance(document, list) else document


def garbled(content: bytes, chance: random.Random) -> bytes:
    """Bytes with some flipped, cut out, doubled or put in."""
    out = bytearray(content)
    for _ in range(chance.choice((1, 1, 2, 5, 40))):
        place = chance.randrange(max(1, len(out)))
        how = chance.randrange(5)
        if how == 0 and out:
            out[place] ^= 1 << chance.randrange(8)
        elif how == 1:
            del out[place : place + chance.choice((1, 7, 200))]
        elif how == 2:
            out[place:place] = out[place : place + chance.choice((1, 30, 500))]
        elif how == 3:
            signs = (b"\0", b"\xff", b"\xe2\x80\xa8", b"\r", b"\n\n", b'"', b",", b"[", b"9" * 5000)
            out[place:place] = chance.choice(signs)
        else:
            del out[chance.choice((place, len(out) // 2, 100)) :]
    return bytes(out)


@dataclass
class Tally:
    """What was tried of one kind of input, and what came of it."""

    name: str
    counts: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    def tried(self, tag: str, how: str, act: Callable[[], Any]) -> Any:
        """What an act gives; None where it refuses in one line. All else is wrong."""
        self.counts[tag] += 1
        try:
            result = act()
        except SprayWindowError as error:
            self.counts["refused"] += 1
            if "\n" in str(error) or len(str(error)) > LONGEST_MESSAGE:
                self.wrong.append(f"{how}: no short line: {str(error)[:200]!r}")
            return None
        except Exception:
            last = traceback.format_exc().strip().splitlines()
            self.wrong.append(f"{how}: " + " | ".join(line.strip() for line in last[-3:])[:600])
            return None
        self.counts["answered"] += 1
        return result

    def hold(self, rule: bool, how: str) -> None:
        """Note an answer that breaks a rule."""
        if not rule:
            self.wrong.append(how)

    def end(self) -> None:
        """Print the counts; fail with what was wrong."""
        told = ", ".join(f"{count} {what}" for what, count in sorted(self.counts.items()))
        print(f"\n{self.name}: {told}; {len(self.wrong)} wrong (seed {SEED})")
        assert not self.wrong, "\n".join([f"{len(self.wrong)} wrong", *self.wrong[:8]])
