"""Things on a bench: what people call them, and the classes they have."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from functools import cache

from tilestudy.trade.ingredients import CLASSES, Ingredient
from tilestudy.trade.library import BUILT_IN, Library

REACTIVE = frozenset(CLASSES) - {"water", "inert", "poison", "chloride"}
"""The classes that a thing nobody knows is taken to have, all of them."""


@dataclass(frozen=True)
class Thing:
    """Something in a bath, on the bench or near it: as people wrote it, and the classes it has.

    `ingredient` is None for a thing that nobody knows; it then has every class of `REACTIVE`.
    """

    text: str
    classes: frozenset[str]
    ingredient: Ingredient | None = field(default=None, compare=False)

    @property
    def known(self) -> bool:
        """False for a thing that nobody knows."""
        return self.ingredient is not None

    @property
    def id(self) -> str:
        """Id of the ingredient; "" for a thing that nobody knows."""
        return self.ingredient.id if self.ingredient is not None else ""

    def named(self, classes: frozenset[str]) -> str:
        """Name it with what it is: ``white vinegar (acid)``.

        >>> things("white vinegar", BUILT_IN)[0].named(frozenset({"acid", "fuel"}))
        'white vinegar (acid)'
        """
        if self.ingredient is None:
            return f"{self.text} (not known)"
        told = [one.replace("_", " ") for one in sorted(self.classes & classes)]
        told = [one for one in told if one not in self.text.casefold()]
        return f"{self.text} ({', '.join(told)})" if told else self.text


def things(text: str, library: Library) -> tuple[Thing, ...]:
    """Return what a text names, each with its classes; what nobody knows has every class of `REACTIVE`.

    A studio's own data may add classes to an ingredient that comes with tilestudy, and take none away.

    >>> [(one.text, sorted(one.classes)) for one in things("White Vinegar", BUILT_IN)]
    [('White Vinegar', ['acid'])]
    >>> things("grandfather's secret", BUILT_IN)[0].classes == REACTIVE
    True
    """
    found, shipped = library.things(text), BUILT_IN.things(text)
    ours = [one.classes & REACTIVE if one is not None else frozenset() for one in shipped]
    if len(shipped) != len(found):  # read otherwise by the studio's own names: every part keeps all
        ours = [frozenset().union(*ours)] * len(found)
    several = len(found) > 1
    return tuple(
        thing_of(one, f'{one.label} of "{text}"' if several else text, classes)
        if one is not None
        else Thing(f'part {number} of "{text}"' if several else text, REACTIVE)
        for number, (one, classes) in enumerate(zip(found, ours, strict=True), start=1)
    )


def thing_of(one: Ingredient, text: str, kept: frozenset[str] = frozenset()) -> Thing:
    """Return an ingredient under the name that people gave it, with the classes it has by any of its names."""
    return Thing(text, one.classes | kept | _as_shipped((one.id, *one.names)), one)


@cache
def _as_shipped(names: tuple[str, ...]) -> frozenset[str]:
    """The reactive classes that tilestudy's own data give to any of these names."""
    found = [BUILT_IN.ingredients.get(names[0]), *(BUILT_IN.ingredient(name) for name in names)]
    return frozenset(name for one in found if one is not None for name in one.classes & REACTIVE)


def same(name: str) -> str:
    """Write a place, tool, bucket or jar so that the same one is the same however it is spelled; the bench is "".

    >>> same("the Copper  tongs"), same("copper-tong"), same("the bench")
    ('copper tong', 'copper tong', '')
    """
    words = re.findall(r"[^\W_]+", unicodedata.normalize("NFKC", name).casefold())
    short = [word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word for word in words]
    told = [word for word in short if word not in ("the", "a", "an", "my", "our")]
    plain = " ".join(told or short)
    return "" if plain in ("bench", "workbench", "work bench") else plain
