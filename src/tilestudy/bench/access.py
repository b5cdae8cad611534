"""Who is who at the bench: scorers and keepers, pairing codes of one day, marks, and what the server remembers of them.

On this machine alone everybody is keeper. Shared with the room, a device is paired by a code: the scorers' code hangs in the
room, the keeper's stays with the instructor. Nobody is anybody by where they come from, for a proxy may stand in front.
"""

from __future__ import annotations

import hmac
import json
import os
import secrets
import threading
from collections import deque
from collections.abc import Callable
from datetime import datetime, time, timedelta
from functools import wraps
from pathlib import Path
from typing import Any, Literal, TypeVar, cast

from flask import abort, g, redirect, request, session, url_for

from tilestudy.errors import WrongRequestError
from tilestudy.outcomes.bench import Writer

Role = Literal["scorer", "keeper"]
V = TypeVar("V", bound=Callable[..., Any])

LETTERS = "ACDEFHJKLMNPRTUVWXY347"
"""Signs of a code: none that is easily taken for another."""
SCORER_SIGNS, KEEPER_SIGNS = 6, 10
LASTS = timedelta(hours=30)
"""No day of the bench is longer."""
DAY_ENDS = time(4)
"""When codes are over, local time: never in the middle of a class."""
LEAST = timedelta(hours=6)
"""Codes dealt shortly before that hold until the next."""
WINDOW = timedelta(minutes=10)
TRIES, TRIES_IN_ALL = 6, 40
"""Wrong codes in ten minutes from one address, and from all together, before nobody is let in for a while. At 40 in ten minutes
a day of guessing finds one of the 22^6 scorers' codes once in twenty thousand days."""


class Access:
    """What the server remembers of devices, in a file that only this user can read; it outlives a restart.

    Parameters
    ----------
    file : Path
        Kept beside the study book.
    shared : bool
        False: everybody who reaches the page is keeper. True: devices are paired.
    now : callable
        The clock: an aware datetime.
    """

    def __init__(self, file: Path, *, shared: bool, now: Callable[[], datetime]) -> None:
        self.file, self.shared, self.now = file, shared, now
        self.renewed: Callable[[], None] = lambda: None  # is called when new codes were dealt
        self._lock = threading.Lock()
        self._wrong: dict[str, deque[datetime]] = {}
        self._state = self._read()
        self.renew()

    def _read(self) -> dict[str, Any]:
        try:
            found = json.loads(self.file.read_text(encoding="utf-8"))
            return found if isinstance(found, dict) else {}
        except (OSError, ValueError):
            return {}

    def _write(self) -> None:
        beside = self.file.with_name(self.file.name + ".part")
        beside.unlink(missing_ok=True)
        number = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(number, "w", encoding="utf-8") as out:
            json.dump(self._state, out)
        beside.replace(self.file)

    def renew(self, *, force: bool = False) -> None:
        """Deal new codes where there are none, or those of yesterday are over; devices paired before must pair again."""
        with self._lock:
            whole = {"secret", "pairing", "scorer", "keeper", "until", "marks"} <= self._state.keys()
            if whole and not force and self.now() < datetime.fromisoformat(self._state["until"]):
                return
            self._state = {
                "secret": self._state.get("secret") or secrets.token_hex(32),
                "pairing": secrets.token_hex(8),
                "scorer": _code(SCORER_SIGNS),
                "keeper": _code(KEEPER_SIGNS),
                "until": _end_of_day(self.now()).isoformat(),
                "marks": {},
            }
            self._write()
        self.renewed()

    @property
    def secret(self) -> str:
        """Signs the cookies."""
        return str(self._state["secret"])

    @property
    def until(self) -> datetime:
        """When the codes of today are over."""
        return datetime.fromisoformat(self._state["until"])

    def code(self, role: Role) -> str:
        """The pairing code of a role."""
        return str(self._state[role])

    def pair(self, given: str, address: str) -> Role | None:
        """Return the role that a code gives, or None; raises WrongRequestError after too many wrong ones."""
        self.renew()
        with self._lock:
            now = self.now()
            for wrong in self._wrong.values():
                while wrong and now - wrong[0] > WINDOW:
                    wrong.popleft()
            self._wrong = {one: wrong for one, wrong in self._wrong.items() if wrong}
            here, every = self._wrong.get(address, deque()), sum(map(len, self._wrong.values()))
            if len(here) >= TRIES or every >= TRIES_IN_ALL:
                raise WrongRequestError("Too many wrong codes. Wait ten minutes, then scan the code in the room again.")
            tidy = "".join(given.upper().split()).replace("-", "")
            roles: tuple[Role, ...] = ("scorer", "keeper")
            for role in roles:
                if hmac.compare_digest(tidy.encode(), str(self._state[role]).encode()):
                    return role
            self._wrong.setdefault(address, deque()).append(now)
            return None

    # --- this visitor ---------------------------------------------------------------------------------------------------

    def role(self) -> Role | None:
        """The role of the visitor, by the cookie; None for somebody not paired today."""
        if not self.shared:
            return "keeper"
        if self.now() >= self.until:
            self.renew()
        if session.get("pairing") != self._state["pairing"]:
            return None
        role = session.get("role")
        return cast(Role, role) if role in ("scorer", "keeper") else None

    def let_in(self, role: Role) -> None:
        """Remember in the visitor's cookie that the device is paired."""
        session.clear()
        session.update(pairing=self._state["pairing"], role=role, device=secrets.token_hex(8))
        session.permanent = True

    def writer(self) -> Writer:
        """Who enters here."""
        return Writer(str(session.get("mark", "")), self.role() == "keeper", str(session.get("device", "")))

    def take_mark(self, mark: str) -> None:
        """Take a mark for this device; raises WrongRequestError where another device has it today.

        A keeper may take any; on this machine alone nobody is asked.
        """
        device = session.setdefault("device", secrets.token_hex(8))
        with self._lock:
            held = self._state["marks"].get(mark.casefold())
            if self.shared and self.role() != "keeper" and held not in (None, device):
                raise WrongRequestError(
                    f"{mark} is in use on another device today. If that is you, ask the keeper to free the mark; if not, take another."
                )
            if self.role() != "keeper":
                self._state["marks"] = {one: by for one, by in self._state["marks"].items() if by != device}
                self._state["marks"][mark.casefold()] = device
                self._write()
        session["mark"] = mark

    def holds_mark(self) -> bool:
        """Whether this device still has the mark that its cookie says; a keeper may have freed it."""
        if not self.shared or self.role() == "keeper":
            return True
        return bool(self._state["marks"].get(str(session.get("mark", "")).casefold()) == session.get("device"))

    def leave(self) -> None:
        """Forget this device, and let another take its mark."""
        device = session.get("device")
        with self._lock:
            left = {one: by for one, by in self._state["marks"].items() if by != device}
            if left != self._state["marks"]:
                self._state["marks"] = left
                self._write()
        session.clear()

    @property
    def marks(self) -> tuple[str, ...]:
        """The marks in use today."""
        return tuple(sorted(str(one).upper() for one in self._state["marks"]))

    def free_mark(self, mark: str) -> None:
        """Let another device take a mark."""
        with self._lock:
            self._state["marks"].pop(mark.casefold(), None)
            self._write()


def _end_of_day(now: datetime) -> datetime:
    """Return when codes dealt now are over: at four in the morning, six hours away or more."""
    local = now.astimezone()
    end = local.replace(hour=DAY_ENDS.hour, minute=0, second=0, microsecond=0)
    while end < local + LEAST:
        end += timedelta(days=1)
    return end


def _code(signs: int) -> str:
    return "".join(secrets.choice(LETTERS) for _ in range(signs))


def needs_mark(view: V) -> V:
    """Ask for initials or a mark, once a device, before a page is shown."""

    @wraps(view)
    def asked(*args: Any, **kwargs: Any) -> Any:
        if not g.writer.mark:
            if request.path.startswith("/state/"):
                abort(401)
            return redirect(url_for("who.mark", next=request.full_path.rstrip("?")))
        return view(*args, **kwargs)

    return cast(V, asked)


def keeper_only(view: V) -> V:
    """Show a page to keepers only."""

    @wraps(view)
    def checked(*args: Any, **kwargs: Any) -> Any:
        if not g.writer.keeper:
            abort(403)
        return view(*args, **kwargs)

    return cast(V, checked)
