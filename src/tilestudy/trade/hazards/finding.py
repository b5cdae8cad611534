"""What the hazard check says: one finding, and a question that only a person at the bench can answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

Level = Literal["block", "signed", "warn"]


@dataclass(frozen=True)
class Hazard:
    """One finding.

    Attributes
    ----------
    id : str
        The rule's id.
    level : "block", "signed" or "warn"
        Stops the bench pack; would stop it, but a person answers for it; is printed.
    says, next, source : str
        What is wrong and where it was seen; what to do next ("" for nothing to do); how that is known.
    title : str
        Heads a warning on paper.
    seen : tuple of str
        What of the study trips the rule, as it stands in `says`.
    may_sign : bool
        True where a person may answer for it.
    why_not : str
        Why nobody may.
    by, reason : str
        Who signed it off, and why; "" where nobody did.
    """

    id: str
    level: Level
    says: str
    next: str
    source: str
    title: str = ""
    seen: tuple[str, ...] = ()
    may_sign: bool = False
    why_not: str = ""
    by: str = ""
    reason: str = ""

    @property
    def text(self) -> str:
        """All of it in sentences: what is wrong, what next, who signed, and the source where there is one."""
        parts = [self.says, f"{self.next}." if self.next else ""]
        if self.level == "signed":
            parts.append(f"Signed off by {self.by}: {self.reason.rstrip('.')}.")
        if self.source and not self.source.startswith("common practice"):
            parts.append(f"(Source: {self.source.rstrip('.')}.)")
        return " ".join(part for part in parts if part)

    def as_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {
            "rule": self.id,
            "level": self.level,
            "title": self.title,
            "says": self.says,
            "next": self.next,
            "source": self.source,
            "seen": list(self.seen),
            "may_sign": self.may_sign,
            "by": self.by,
            "reason": self.reason,
        }


@dataclass(frozen=True)
class Question:
    """A bench question that nobody has answered yet; `safe` states what holds when the answer is a safe "no"."""

    key: str
    text: str
    safe: str
