"""The works on the table: each one's journal, and the map that goes with where it stands."""

import asyncio
import json
import time
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from hidescan.basics.atomic_files import write_whole
from hidescan.basics.errors import BadInput
from hidescan.page import thrown_away, works
from hidescan.page.failures import sentence_for
from hidescan.page.glance import glance_of, keep_glance, usable_foot
from hidescan.page.journal import Edit, Given, State, edit_line, sound_state_of, state_of, with_edit
from hidescan.page.mapper import Mapper
from hidescan.page.notes import keep_notes, notes_of
from hidescan.page.worker.bench import Subject

_GIVEN = TypeAdapter(Given)


class Elsewhere(BadInput):
    """The work was changed from another window since this one looked."""


@dataclass(slots=True)
class Sheet:
    """What is known of one work: the lines folded, the map shown and the state that it belongs to.

    `damage` says what could not be read of it.
    """

    state: State
    damage: str | None = None
    shown: bytes | None = None
    shown_at: int = -1
    stage: str | None = None
    refused: str | None = None
    turn: asyncio.Lock = field(default_factory=asyncio.Lock)
    mapping: asyncio.Task[None] | None = None


class Desk:
    """All works in a folder."""

    def __init__(self, folder: Path, mapper: Mapper) -> None:
        self.folder, self.mapper = folder, mapper
        self._sheets: dict[str, Sheet] = {}

    def sheet(self, name: str) -> Sheet:
        """One work, read from disk when first asked for.

        Raises
        ------
        KeyError
            There is no such work.
        """
        if not works.is_id(name) or not works.is_work(self.folder / name):
            raise KeyError(name)
        if name not in self._sheets:
            lines = works.lines(self.folder / name)
            state, sound = sound_state_of(lines)
            self._sheets[name] = Sheet(state)
            if sound < len(lines):
                aside = works.set_aside_after(self.folder / name, sound)
                self._sheets[name].damage = (
                    f"Of {len(lines)} things done to this hide the first {sound} can be read; the rest is damaged and"
                    f" was set aside ({aside.name})."
                )
        return self._sheets[name]

    def label(self, name: str) -> str:
        """What a person calls a work: its label, else its photo's name."""
        self.sheet(name)
        return notes_of(self.folder / name).label or Path(works.about(self.folder / name).file).stem

    def subject(self, name: str) -> Subject:
        """What the worker needs to know of a work."""
        given, folder = self.sheet(name).state.given, self.folder / name
        return Subject(folder, works.about(folder).file, given)

    def listed(self) -> list[dict[str, Any]]:
        """The card of each work, newest first; figures are null until it is mapped.

        One that cannot be read hides no other.
        """
        return [self._card(name) for name in works.works(self.folder)]

    def _card(self, name: str) -> dict[str, Any]:
        folder = self.folder / name
        card: dict[str, Any] = {"id": name, "label": "a hide that cannot be read", "photo_sha256": "", "seen": None}
        card |= {"stage": None, "refused": "It cannot be read."}
        with suppress(OSError, BadInput, KeyError):
            sheet, notes, seen, kept = self.sheet(name), notes_of(folder), glance_of(folder), _kept(folder)
            foot = usable_foot(notes, seen)
            card |= {"label": self.label(name), "photo_sha256": works.about(folder).sha256, "at": sheet.state.at}
            card |= {"price": notes.price, "foot": foot and foot.plain, "kept": kept and kept["revision"]}
            card |= {"seen": seen, "stage": sheet.stage, "refused": sheet.refused}
        return card

    def start(self, name: str) -> asyncio.Task[None]:
        """Make the map that goes with where the work stands, unless that is being done."""
        sheet = self.sheet(name)
        if sheet.mapping is None or sheet.mapping.done():
            sheet.mapping = asyncio.create_task(self._map(name, sheet))
        return sheet.mapping

    async def ended(self) -> None:
        """Wait until nothing is being mapped any more; the worker was stopped."""
        for sheet in self._sheets.values():
            if sheet.mapping is not None:
                sheet.mapping.cancel()
                with suppress(asyncio.CancelledError):
                    await sheet.mapping

    async def _map(self, name: str, sheet: Sheet) -> None:
        while sheet.shown_at != sheet.state.at:
            at = sheet.state.at
            sheet.stage = "waiting"
            try:
                sheet.shown = await self.mapper.ask(
                    "view", self.subject(name), say=lambda t: setattr(sheet, "stage", t)
                )
                sheet.refused = None
                if (self.folder / name).is_dir():  # not thrown away meanwhile
                    keep_glance(self.folder / name, sheet.shown, sheet.state.given, at)
            except (BadInput, OSError) as error:
                sheet.refused = sentence_for(error)
            sheet.shown_at, sheet.stage = at, None

    async def edit(self, name: str, edit: Edit, base: int) -> None:
        """Add an edit and wait for its map.

        Raises
        ------
        Elsewhere
            The work no longer stands at `base`.
        BadInput
            The edit cannot be; nothing was changed.
        """
        sheet = self.sheet(name)
        async with sheet.turn:
            if not (edit.key and edit.key in sheet.state.keys):  # sent again because the answer was lost
                with_edit(sheet.state.given, edit)
                self._add(name, sheet, edit_line(edit), base)
        await self._mapped(name)

    async def step(self, name: str, word: str, base: int) -> None:
        """Undo or redo, and wait for the map."""
        sheet = self.sheet(name)
        async with sheet.turn:
            if (sheet.state.undo if word == "undo" else sheet.state.redo) is not None:
                self._add(name, sheet, json.dumps(word), base)
        await self._mapped(name)

    async def _mapped(self, name: str) -> None:
        sheet = self.sheet(name)
        while sheet.shown_at != sheet.state.at:
            await self.start(name)

    def _add(self, name: str, sheet: Sheet, line: str, base: int) -> None:
        if base != sheet.state.at:
            raise Elsewhere("This hide was changed in another window; what it says now is shown.")
        works.add_line(self.folder / name, line)
        sheet.state = state_of(works.lines(self.folder / name))

    async def keep(self, name: str) -> None:
        """Save the map as a new revision, and show it just as it was saved."""
        sheet = self.sheet(name)
        at = sheet.state.at
        revision = await self.mapper.ask("keep", self.subject(name))
        sheet.shown_at = -1
        await self._mapped(name)
        write_whole(self.folder / name / "kept" / "kept.json", json.dumps({"at": at, "revision": revision}).encode())

    async def shelve(self, name: str, label: str) -> tuple[str, bool]:
        """Save the map and put it on the shelf; returns its label there and whether the shelf changed."""
        await self.keep(name)
        shelved: tuple[str, bool] = await self.mapper.ask("shelve", self.subject(name), label)
        return shelved

    def answer(self, name: str) -> bytes:
        """All that the page shows of a work, as JSON."""
        sheet = self.sheet(name)
        folder = self.folder / name
        notes = notes_of(folder)
        shown = sheet.shown if sheet.shown_at == sheet.state.at and sheet.shown is not None else b"null"
        plain = {
            "id": name,
            "file": works.about(folder).file,
            "label": self.label(name),
            "notes": asdict(notes),
            "at": sheet.state.at,
            "undo": sheet.state.undo,
            "redo": sheet.state.redo,
            "stage": sheet.stage,
            "refused": sheet.refused or (sheet.damage if shown != b"null" else None),
            "kept": _kept(folder),
            "given": _GIVEN.dump_python(sheet.state.given, mode="json"),
        }
        return json.dumps(plain, separators=(",", ":")).encode()[:-1] + b',"view":' + shown + b"}"

    def note(self, name: str, given: dict[str, Any]) -> None:
        """Write lines of a work's card: its label, what the seller asks."""
        self.sheet(name)
        keep_notes(self.folder / name, given)

    async def throw_away(self, name: str) -> None:
        """Put a work aside, once the worker, which may be writing into it, has nothing in hand."""
        self.sheet(name)
        async with self.mapper.idle(self.folder / name):
            thrown_away.throw_away(self.folder, name, time.time())
        self._sheets.pop(name, None)


def _kept(work: Path) -> Any:
    """Where the journal stood when the map was last kept, and its number; None where it never was or is not known."""
    try:
        return json.loads((work / "kept" / "kept.json").read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
