"""The table shared with a phone in the same house: a code to scan that lets one device in, once."""

import socket
from dataclasses import dataclass, field
from hashlib import sha256
from ipaddress import ip_address
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


def code_rows(address: str) -> list[list[bool]]:
    """Return the code to scan for an address, row by row, true where it is dark; with a rim of four pale ones."""
    import segno

    # A small code of its own kind is not read by every phone.
    matrix = segno.make(address, micro=False).matrix_iter(border=4)
    return [[bool(cell) for cell in row] for row in matrix]


def code_text(rows: list[list[bool]]) -> str:
    """Return a code as text, two rows a line: pale ones are drawn, since most terminals are dark."""
    rows = [*rows, [True] * len(rows[0])] if len(rows) % 2 else rows
    drawn = {
        (True, True): " ",
        (True, False): "\u2584",
        (False, True): "\u2580",
        (False, False): "\u2588",
    }
    pairs = zip(rows[::2], rows[1::2], strict=True)
    return "\n".join("".join(drawn[pair] for pair in zip(*two, strict=True)) for two in pairs)


def entrance(host: str, sharing: Sharing) -> str:
    """Return an address that lets one device in, once."""
    return f"http://{host}/enter?code={sharing.new_code()}"


def _mark(secret: str) -> str:
    # Looked up by its hash, the time that takes tells nothing of it.
    return sha256(secret.encode()).hexdigest()


def is_loopback(client: str) -> bool:
    """Whether a request comes from this machine, by the address of who asks."""
    try:
        return ip_address(client).is_loopback
    except ValueError:
        return False


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
