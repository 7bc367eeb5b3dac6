"""The table shared with a phone in the same house: a code to scan that lets one device in, once."""

import socket
from dataclasses import dataclass, field
from hashlib import sha256
from secrets import token_urlsafe
from threading import Lock
from time import monotonic

#: Name of the cookie by which a device that was let in is known.
COOKIE = "grader-table"
#: So long a code may be scanned, seconds.
CODE_HOLDS_S = 600.0


@dataclass
class Sharing:
    """Who was let in. hosts : by which the pages may be asked for from outside, with the port."""

    hosts: frozenset[str]
    _codes: dict[str, float] = field(default_factory=dict)
    _known: set[str] = field(default_factory=set)
    _lock: Lock = field(default_factory=Lock)

    def new_code(self) -> str:
        """Return a code that lets one device in, once, within ten minutes."""
        code = token_urlsafe(24)
        with self._lock:
            self._codes[_mark(code)] = monotonic() + CODE_HOLDS_S
        return code

    def enter(self, code: str) -> str | None:
        """Return what a device is known by from now on, ``None`` where the code is spent, too old or none."""
        with self._lock:
            until = self._codes.pop(_mark(code), None)
            if until is None or until < monotonic():
                return None
            value = token_urlsafe(32)
            self._known.add(_mark(value))
            return value

    def knows(self, value: str) -> bool:
        """Whether a device was let in."""
        with self._lock:
            return bool(value) and _mark(value) in self._known

    @property
    def devices(self) -> int:
        """How many were let in."""
        with self._lock:
            return len(self._known)


def _mark(secret: str) -> str:
    # Looked up by its hash, the time that takes tells nothing of it.
    return sha256(secret.encode()).hexdigest()


def own_address() -> str | None:
    """Return the address of this machine in its own network, ``None`` where it is in none; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            # A place for examples, RFC 5737: only the way there is looked up.
            asking.connect(("192.0.2.1", 9))
            address = asking.getsockname()[0]
        except OSError:
            return None
    return None if address.startswith(("127.", "0.")) else address
