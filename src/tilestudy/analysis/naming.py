"""Small words shared by the model and the sentences: terms and settings."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from tilestudy.study.records import Factor, Setting

Show = Callable[[Setting, Factor], str]
"""Writes a setting of a factor for people: "10 min"."""


def show_plainly(value: Setting, factor: Factor) -> str:
    """Write a setting with its stored unit; the default where no better way is given."""
    if isinstance(value, str):
        return value
    return f"{value:g} {factor.unit}".strip()


def speak(term: str, labels: Mapping[str, str]) -> str:
    """Write a term's name for reading: "the bend of dip time", "strength x dip time"."""
    if term.endswith(" (bend)"):
        name = term.removesuffix(" (bend)")
        return f"the bend of {labels.get(name, name)}"
    return " x ".join(labels.get(name, name) for name in term.split(" x "))


def together(term: str, labels: Mapping[str, str]) -> str:
    """Write a pair for a sentence: "strength with dip time"."""
    return " with ".join(labels.get(name, name) for name in term.split(" x "))
