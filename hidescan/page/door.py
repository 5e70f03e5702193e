"""Who may come in: a code that lets in once, and tokens for those who came in by one."""

import secrets
from collections.abc import Callable
from dataclasses import dataclass, field

from hidescan.page.settings import PageSettings

# Letters and figures that are not taken for one another when read off a screen; 8 of 31 are 40 bits.
ALPHABET = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"


def new_code() -> str:
    """A fresh code."""
    return "".join(secrets.choice(ALPHABET) for _ in range(8))


@dataclass(slots=True)
class Door:
    """The code in force, the tokens given out, and who tried in vain.

    Attributes
    ----------
    on_new_code
        Told the next code whenever one was used.
    now
        Clock, s.
    """

    settings: PageSettings
    on_new_code: Callable[[str], None]
    now: Callable[[], float]
    code: str = field(default_factory=new_code)
    tokens: set[str] = field(default_factory=set)
    wrong: dict[str, list[float]] = field(default_factory=dict)

    def locked(self, address: str) -> bool:
        """Whether this address has to wait."""
        tries = self.wrong.get(address, [])
        return len(tries) >= self.settings.wrong_codes and self.now() - tries[-1] < self.settings.locked_s

    def enter(self, code: str, address: str) -> str | None:
        """A token for a right code, which is then used up; None for a wrong one or for an address that has to wait."""
        if self.locked(address):
            return None
        if not secrets.compare_digest(code.strip().upper().encode(), self.code.encode()):
            tries = self.wrong.setdefault(address, [])
            if len(tries) >= self.settings.wrong_codes:  # the wait is over
                tries.clear()
            tries.append(self.now())
            return None
        self.wrong.pop(address, None)
        self.code = new_code()
        self.on_new_code(self.code)
        token = secrets.token_urlsafe(32)
        self.tokens.add(token)
        return token

    def knows(self, token: str) -> bool:
        """Whether a token was given out; in constant time for each."""
        return any([secrets.compare_digest(token.encode(), known.encode()) for known in self.tokens])
