"""A workshop at work: hides mapped, marked, placed on, cut, offcut, shelved, in any order; the books agree at every step.

By hand, for thousands of sequences: WORKSHOP_SEQUENCES=2000 python -m pytest tests/workshop
"""

import json
import os
import shutil
import tempfile
from contextlib import closing
from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from shapely import affinity, union_all
from shapely.geometry import Polygon, box

from hidescan.basics.errors import BadInput
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.hide_map.model import HideMap, MarkKind
from hidescan.hide_map.revisions import read_map, save_map
from hidescan.marks.corrections import with_corrections
from hidescan.marks.matching import GivenMark, carried_over, with_given
from hidescan.pieces.file import Piece, PieceRules
from hidescan.placing import file as placing_file
from hidescan.placing.file import Placing
from hidescan.settings import Settings
from hidescan.settings.uses import OffcutSettings
from hidescan.shelf import cutting, database, exporting, register
from hidescan.shelf.facts import Facts
from hidescan.shelf.finding import Criteria, find
from hidescan.shelf.hides import hide as on_shelf
from hidescan.shelf.parsing import placed_pieces
from tests.workshop.books import Cut, Frame, Hide, Mark, day_of, map_of, net_of, usable_of, version_of
from tests.workshop.checks import laid, parent_origin

SEQUENCES, STEPS = int(os.environ.get("WORKSHOP_SEQUENCES", "60")), 30
SMALL = OffcutSettings(least_area_mm2=400.0, least_width_mm=15.0, bridge_mm=8.0)
KINDS: tuple[MarkKind, ...] = ("hole", "stain", "brand", "wrinkle")
SPECIES = ("deer", "elk", "goat")
number = st.integers(0, 10**6)


class Workshop(RuleBasedStateMachine):
    """Every step is done by the program and in the books; after every step the shelf must say what the books say."""

    @initialize()
    def opens(self) -> None:
        self.folder = Path(tempfile.mkdtemp())
        self.db = database.open_shelf(self.folder / "shelf.sqlite")
        self.hides: list[Hide] = []
        self.placings: list[tuple[Hide, int, Placing, dict[str, HideMap]]] = []
        self.day = 0
        self.paid: set[str] = set()
        self.now, register._now = register._now, lambda: f"{self.today.isoformat()}T12:00:00+00:00"
        self.mapped(3, 7)

    def teardown(self) -> None:
        if hasattr(self, "db"):
            self.db.close()
            register._now = self.now
            shutil.rmtree(self.folder)

    @property
    def today(self) -> date:
        return day_of(self.day)

    def pick(self, n: int, hides: list[Hide] | None = None) -> Hide:
        among = self.hides if hides is None else hides
        return among[n % len(among)]

    @property
    def whole(self) -> list[Hide]:
        return [h for h in self.hides if h.parent is None]

    @property
    def shelved(self) -> list[Hide]:
        return [h for h in self.hides if h.label and not h.removed]

    def kept(self, hide: Hide, hide_map: HideMap, frame: Frame) -> None:
        """Save a map, and its new state in the books."""
        saved = save_map(hide.path, hide_map)
        assert hide.path.read_bytes() == to_json(saved)
        assert all(saved.hide_id == v.hide_id for v in hide.versions)
        net = net_of(hide.outer, hide.marks.values())
        version = version_of(saved, frame, net, usable_of(net, hide.marks.values()))
        for value, shape in (
            (saved.measures.area_net.value, version.net),
            (saved.measures.area_usable.value, version.usable),
        ):
            assert abs(value - shape.area) <= 1e-6 * shape.area + 1e-3
        if not hide.versions or hide.versions[-1].data != version.data:
            hide.versions.append(version)

    @rule(size=st.integers(0, 5), marks=st.integers(0, 7))
    def mapped(self, size: int, marks: int) -> None:
        self.day += 1
        wide, long, name = 70.0 + 10 * size, 130.0 + 15 * size, f"hide{len(self.hides)}"
        outer = Polygon([(-wide, 0), (wide, 0), (wide, long), (0.3 * wide, long + 25), (-wide, long)])
        hide = Hide(self.folder / f"{name}.hide.json", outer, f"{len(self.hides) + 1:064x}", self.today)
        for n in range(marks % 4):
            kind = KINDS[(marks + n) % len(KINDS)]
            x, y = -0.7 * wide + 0.55 * n * wide, 18.0 + 31.0 * n
            hide.marks[f"{kind}-{n + 1}"] = Mark(kind, box(x, y, x + 9, y + 7))
        self.hides.append(hide)
        self.kept(hide, map_of(hide, hide.marks, Frame(), hide.photo, hide.taken, outer), Frame())

    @rule(n=number, what=st.sampled_from(["confirmed", "rejected", *KINDS[1:]]))
    def word(self, n: int, what: str) -> None:
        hide = self.pick(n)
        if not hide.marks:
            return
        name = sorted(hide.marks)[n % len(hide.marks)]
        mark, frame = hide.marks[name], hide.versions[-1].frame
        done = with_corrections(read_map(hide.path), {name: what}, Settings())
        if what in ("confirmed", "rejected"):
            mark.status = what  # type: ignore[assignment]
        else:
            mark.kind, mark.status = what, "added" if mark.status == "added" else "confirmed"  # type: ignore[assignment]
        self.kept(hide, done, frame)

    @rule(n=number)
    def unsaid(self, n: int) -> None:
        """A rejected mark is confirmed again: everything is as it was before."""
        hide = self.pick(n)
        rejected = sorted(name for name, m in hide.marks.items() if m.status == "rejected")
        if rejected:
            hide.marks[rejected[0]].status = "confirmed"
            done = with_corrections(read_map(hide.path), {rejected[0]: "confirmed"}, Settings())
            self.kept(hide, done, hide.versions[-1].frame)

    @rule(n=number)
    def merged(self, n: int) -> None:
        """A stain drawn elsewhere is added once; the same file merged again adds nothing."""
        hide = self.pick(n, self.whole)
        frame = hide.versions[-1].frame
        shape = box(20.0, 75.0, 26.0, 83.0)
        given = GivenMark("stain", np.array(frame.to_map(shape).exterior.coords)[:-1])
        old = read_map(hide.path)
        done = with_given(old, [given], Settings())
        again = with_given(done, [given], Settings())
        assert [m.id for m in again.marks] == [m.id for m in done.marks]
        new = [m for m in done.marks if m.id not in {k.id for k in old.marks}]
        lying = [m for m in hide.marks.values() if m.shape.intersects(shape)]
        assert len(new) == (0 if lying else 1)
        if new:
            hide.marks[new[0].id] = Mark("stain", shape, "added")
            self.kept(hide, done, frame)

    @rule(n=number, turned=st.booleans())
    def mapped_again(self, n: int, turned: bool) -> None:
        """Mapped anew from its photo, perhaps with neck and tail the other way: what was said of marks stays."""
        hide = self.pick(n, self.whole)
        found = {
            f"{m.kind}-{k}": Mark(m.kind, m.shape) for k, m in enumerate(hide.marks.values(), 1) if m.status != "added"
        }
        frame = Frame(True, 0.0, -float(hide.outer.bounds[3])) if turned else Frame()  # the tail is the origin
        new = map_of(hide, found, frame, hide.photo, hide.taken, hide.outer)
        self.kept(hide, carried_over(read_map(hide.path), new, Settings()), frame)

    @rule(
        n=number,
        count=st.integers(1, 2),
        pair=st.booleans(),
        covers=st.booleans(),
        fill=st.sampled_from([False, False, False, True]),
        margin=st.integers(0, 3),
    )
    def placed(self, n: int, count: int, pair: bool, covers: bool, fill: bool, margin: int) -> None:
        hide = self.pick(n)
        rules = PieceRules(count, pair, may_cover=("stain",) if covers else (), margin_mm=float(margin))
        pieces = (
            Piece("a", np.array([(0.0, 0), (34, 0), (34, 48), (0, 40)]), 90.0, rules),
            Piece("b", np.array([(0.0, 0), (20, 0), (20, 20), (0, 20)]), 90.0, replace(rules, count=1, margin_mm=1.0)),
        )
        made, offcuts = laid(hide, pieces, fill=fill)
        self.placings.append((hide, len(hide.versions) - 1, made, offcuts))
        if made.placed and not fill and n % 3 == 0:
            kept = replace(made, placed=(replace(made.placed[0], kept=True), *made.placed[1:]))
            again, _ = laid(hide, pieces, fill=False, keep=kept)
            first = next(p for p in again.placed if p.kept)
            was = Polygon(made.placed[0].hide_mm.coordinates[0])
            assert first.id == made.placed[0].id
            assert Polygon(first.hide_mm.coordinates[0]).symmetric_difference(was).area < 0.5

    @rule(
        n=number,
        back=st.integers(0, 2),
        species=st.sampled_from([None, *SPECIES]),
        price=st.sampled_from([None, 60, 125]),
    )
    def add(self, n: int, back: int, species: str | None, price: int | None) -> None:
        """The map as it is now, or an older state of it: in any order."""
        self.day += 1
        hide = self.pick(n)
        version = hide.versions[-1 - back % len(hide.versions)]
        facts = Facts(species=species, price=None if price is None else Decimal(price))
        if hide.parent is not None and hide.label is None and version is not hide.versions[0]:
            version = hide.versions[0]
        name = hide.path.name.removesuffix(".hide.json")
        label, changed = register.shelve_map(self.db, name, version.data, facts, bring_back=True)
        assert label == (hide.label or label)
        known = any(v.data == version.data for v in hide.shelved)
        assert changed or known
        if not known:
            hide.shelved.append(version)
        hide.label, hide.removed = label, False
        hide.added = hide.added or self.today
        hide.species = species or hide.species
        hide.price = hide.price if price is None else Fraction(price)

    @rule(n=number, gain=st.integers(2, 9), later=st.booleans())
    def stretched(self, n: int, gain: int, later: bool) -> None:
        """A further photo of the hide, taken today or long ago: only a later one changes what is known of it."""
        among = [h for h in self.shelved if h.parent is None and h.shelved]
        if not among:
            return
        self.day += 1
        hide = self.pick(n, among)
        outer = affinity.scale(hide.outer, 1 + gain / 100, 1 + gain / 100, origin=(0, 0))
        photo = f"{10**9 + self.day:064x}"
        taken = self.today if later else day_of(-self.day)
        hide_map = map_of(hide, {}, Frame(), photo, taken, outer)
        before = hide.left()
        assert register.add_map(
            self.db,
            hide.label or "",
            to_json(hide_map),
            details=register.MapDetails(stretching="after" if later else "before"),
        )
        hide.shelved.append(version_of(hide_map, Frame(), outer, outer))
        assert later or hide.left() == before

    @rule(n=number, species=st.sampled_from(SPECIES), cents=st.integers(0, 10**6))
    def edit(self, n: int, species: str, cents: int) -> None:
        if self.shelved:
            hide = self.pick(n, self.shelved)
            register.edit(self.db, hide.label or "", Facts(species=species, price=Decimal(cents).scaleb(-2)))
            hide.species, hide.price = species, Fraction(cents, 100)

    @precondition(lambda self: self.placings)
    @rule(n=number)
    def cut_placed(self, n: int) -> None:
        self.day += 1
        hide, at, made, _ = self.placings[n % len(self.placings)]
        version = hide.versions[at]
        if not made.placed or not hide.label or hide.removed:
            return
        data = placing_file.to_json(made)
        where = union_all([Polygon(p.hide_mm.coordinates[0]) for p in made.placed])
        world = version.frame.to_world(where)
        left, on = hide.left() or 0.0, version.data in {v.data for v in hide.shelved}
        same = bool(hide.shelved) and hide.newest.photo == version.photo
        gone = hide.gone()
        over = same and world.buffer(-0.1).intersection(gone.buffer(-0.1)).area > 0
        takes = hide.newest.usable.difference(gone).intersection(world).area if same else world.area
        try:
            cutting.cut(
                self.db, hide.label, "pieces", cut_on=self.today,
                leather=cutting.pieces_on(self.db, hide.label, placed_pieces(data, "placing.json")),
            )  # fmt: skip
        except BadInput:
            assert not on or over or takes > left - 0.5
            return
        assert on and not over and takes <= left + 0.5
        hide.cuts.append(Cut(version.photo, self.today, float(where.area), world))

    @rule(n=number, share=st.integers(1, 14))
    def cut_by_area(self, n: int, share: int) -> None:
        among = [h for h in self.shelved if h.left()]
        if not among:
            return
        self.day += 1
        hide = self.pick(n, among)
        left = hide.left() or 0.0
        area = left * share / 10
        try:
            cutting.cut(self.db, hide.label or "", "strap", leather=area, cut_on=self.today)
        except BadInput:
            assert share >= 10
            return
        assert share <= 10
        hide.cuts.append(Cut(hide.newest.photo, self.today, area, None))

    @rule(n=number)
    def undo_cut(self, n: int) -> None:
        among = [h for h in self.shelved if h.cuts]
        if among:
            hide = self.pick(n, among)
            cutting.undo_cut(self.db, hide.label or "")
            hide.cuts.pop()

    @precondition(lambda self: self.placings)
    @rule(n=number)
    def offcut(self, n: int) -> None:
        """An offcut of a placing becomes a hide of the workshop; `add` may put it on the shelf."""
        parent, at, _, offcuts = self.placings[n % len(self.placings)]
        if not offcuts or len(self.hides) > 7:
            return
        version = parent.versions[at]
        name, offcut = sorted(offcuts.items())[n % len(offcuts)]
        rim = offcut.outline.hide_mm.coordinates
        x, y = np.array(parent_origin(from_json(version.data, "m"), offcut))
        frame = Frame(version.frame.turned, version.frame.x + x, version.frame.y + y)
        assert offcut.parent_id == version.hide_id and all(
            offcut.hide_id != h.versions[0].hide_id or h.path.name.endswith(f"-{name}") for h in self.hides
        )
        if any(offcut.hide_id == h.versions[0].hide_id for h in self.hides):
            return
        outer = frame.to_world(Polygon(rim[0]))
        assert isinstance(outer, Polygon)
        hide = Hide(self.folder / f"{len(self.hides)}-{name}", outer, version.photo, version.taken, parent=parent)
        for mark in offcut.marks:
            shape = frame.to_world(Polygon(mark.hide_mm.coordinates[0]))
            assert shape.distance(outer) < 3.0  # every mark meets its hide
            hide.marks[mark.id] = Mark(mark.kind, shape, mark.status)
        assert version.net.buffer(0.01).covers(
            outer.difference(union_all([m.shape for m in hide.marks.values() if m.kind == "hole"]))
        )
        parent.offcuts.append(hide)
        self.hides.append(hide)
        self.kept(hide, offcut, frame)

    @rule(n=number)
    def remove(self, n: int) -> None:
        if self.shelved:
            hide = self.pick(n, self.shelved)
            register.remove(self.db, hide.label or "")
            hide.removed = True

    @rule(n=number)
    def bring_back(self, n: int) -> None:
        among = [h for h in self.hides if h.removed]
        if among:
            hide = self.pick(n, among)
            register.bring_back(self.db, hide.label or "")
            hide.removed = False

    @precondition(lambda self: self.day % 4 == 3)  # it waits for the disk
    @rule()
    def backup(self) -> None:
        database.backup(self.db, self.folder / "copy.sqlite")
        with closing(database.open_shelf(self.folder / "copy.sqlite")) as copy:
            for table in ("hide", "map", "cut", "fit", "zone", "mark"):
                query = f"SELECT * FROM {table}"
                assert copy.execute(query).fetchall() == self.db.execute(query).fetchall()
        plain = json.loads(exporting.to_json(self.db))["hides"]
        assert [h["label"] for h in plain] == sorted((h.label or "" for h in self.shelved), key=str.lower)
        assert not any("E" in str(h["price"]) for h in plain)

    @invariant()
    def the_shelf_says_what_the_books_say(self) -> None:
        if not hasattr(self, "db"):
            return
        rows = {row.label: row for row in find(self.db, Criteria())}
        assert set(rows) == {h.label for h in self.shelved}
        for hide in self.shelved:
            row, left = rows[hide.label or ""], hide.left()
            assert row.species == hide.species
            assert (None if row.price is None else Fraction(row.price)) == hide.price
            assert row.area_left_mm2 is not None and left is not None
            # Offcuts hang by a photo's pixels, kept to nine digits: a hair of rounding along every edge.
            assert abs(row.area_left_mm2 - left) <= 1e-5 * hide.newest.net.area, (hide.label, row.area_left_mm2, left)
            assert abs((row.area_net_mm2 or 0.0) - hide.newest.net.area) <= 1e-6 * hide.newest.net.area
        for long, wide in ((40.0, 40.0), (100.0, 60.0)):
            for row in find(self.db, Criteria(fits_mm=(long, wide))):
                assert (row.area_left_mm2 or 0.0) >= long * wide

    @invariant()
    def an_offcut_names_its_parent(self) -> None:
        for hide in self.shelved if hasattr(self, "db") else ():
            if hide.parent is not None and hide.parent.label:
                assert on_shelf(self.db, hide.label or "").offcut_of == hide.parent.label


Workshop.TestCase.settings = settings(
    max_examples=SEQUENCES,
    stateful_step_count=STEPS,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    print_blob=True,
)
TestWorkshop = Workshop.TestCase
