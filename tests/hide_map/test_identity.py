"""Whose hide a map is: ids that are carried, second hides of a photo, photos that lie elsewhere."""

import hashlib
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from hidescan.basics.errors import BadInput
from hidescan.hide_map.identity import is_same_hide, new_hide_id, new_offcut_id, with_identity
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.hide_map.model import OFFCUT, HideMap, Inputs, PolygonGeometry, Ring, WarningEntry
from hidescan.hide_map.revisions import find_photo, read_map, remember_photo, save_map
from hidescan.many import one_photo
from hidescan.many.one_photo import Keeping, Made, edit_one, map_read
from hidescan.photo.reading import Photo, read_photo
from hidescan.pictures.source_pixels import pixels_of_map
from hidescan.pipeline import Pipeline
from hidescan.settings import PhotoSettings, Settings
from tests.exported import OLD_MAP
from tests.samples import SQUARE_PX, rectangle_map

SMALL = PhotoSettings(least_megapixels=0.1)


def beside(ring: Ring, x: float) -> Ring:
    return tuple((a + x, b) for a, b in ring)


def at(x: float, **changes: object) -> HideMap:
    """A hide in the one photo, so far to the right of another."""
    outline = rectangle_map().outline
    return rectangle_map(outline=replace(outline, photo_px=PolygonGeometry((beside(SQUARE_PX, x),))), **changes)


def test_a_map_of_the_first_version_opens_whole_and_gets_an_id() -> None:
    old = json.loads(OLD_MAP.read_bytes())
    read = from_json(OLD_MAP.read_bytes(), "old")
    again = json.loads(to_json(read))

    def same(was: object, now: object) -> bool:
        """Everything that the old file says is said the same; what it did not know comes beside."""
        if isinstance(was, dict):
            return isinstance(now, dict) and all(same(value, now[key]) for key, value in was.items())
        if isinstance(was, list):
            return isinstance(now, list) and len(was) == len(now) and all(map(same, was, now))
        return was == (pytest.approx(now, rel=1e-9, abs=1e-12) if isinstance(was, float) else now)

    assert same(old, again)
    assert read.hide_id == new_hide_id(old["photo"]["sha256"], None) and read.parent_id is None
    assert to_json(from_json(to_json(read), "again")) == to_json(read)


def test_ids_are_made_from_the_photo_and_where_the_hide_was_pointed_at() -> None:
    one = rectangle_map()
    assert one.hide_id == rectangle_map(revision=7).hide_id
    assert one.hide_id != rectangle_map(photo=replace(one.photo, sha256="cd" * 32)).hide_id
    assert one.hide_id != rectangle_map(inputs=Inputs(hide_at_px=(5.0, 6.0))).hide_id
    old = with_identity(replace(one, hide_id="", warnings=(WarningEntry(OFFCUT, "an offcut"),)))
    assert old.parent_id == one.hide_id and old.hide_id == new_offcut_id(one.hide_id, SQUARE_PX)


@pytest.mark.parametrize("key", ["hide_id", "parent_id"])
def test_an_id_that_is_no_plain_word_is_refused(key: str) -> None:
    with pytest.raises(BadInput, match=key):
        from_json(to_json(rectangle_map(**{key: "../other"})), "x")


def test_the_id_is_carried_by_every_later_map(tmp_path: Path) -> None:
    path = tmp_path / "a.hide.json"
    first = save_map(path, rectangle_map(inputs=Inputs(hide_at_px=(300.0, 300.0))))
    # Pointed at elsewhere on the same hide: by itself it would have got another id.
    again = save_map(path, rectangle_map(inputs=Inputs(hide_at_px=(500.0, 500.0), species="deer")))
    assert (again.revision, again.hide_id) == (2, first.hide_id) and read_map(path) == again


def test_a_number_of_a_revision_is_not_used_again(tmp_path: Path) -> None:
    path = tmp_path / "a.hide.json"
    for thickness in (1.0, 2.0):
        save_map(path, rectangle_map(inputs=Inputs(thickness_mm=thickness)))
    save_map(path, rectangle_map(), fresh=True)
    save_map(path, rectangle_map(warnings=()))
    last = save_map(path, rectangle_map(inputs=Inputs(thickness_mm=3.0)))
    kept = {p.name: from_json(p.read_bytes(), "x").inputs.thickness_mm for p in (tmp_path / "a.hide").iterdir()}
    assert last.revision == 3 and kept == {"1.json": 1.0, "2.json": 2.0}


def test_hides_of_a_photo_are_told_apart_by_their_outlines() -> None:
    one = at(0.0)
    assert is_same_hide(one, at(20.0, hide_id="other")) and not is_same_hide(one, at(700.0, hide_id="other"))
    assert not is_same_hide(one, at(0.0, hide_id="other", parent_id=one.hide_id))
    assert not is_same_hide(one, at(0.0, hide_id="other", photo=replace(one.photo, sha256="cd" * 32)))


@pytest.fixture
def photo(tmp_path: Path) -> Photo:
    (tmp_path / "may").mkdir()
    Image.fromarray(np.zeros((400, 400, 3), np.uint8)).save(tmp_path / "may" / "hide.png")
    return read_photo(tmp_path / "may" / "hide.png", SMALL)


@pytest.fixture
def two_hides(photo: Photo, monkeypatch: pytest.MonkeyPatch) -> None:
    """Mapping finds one hide at the left, and one at the right where it is pointed at; an earlier map's marks stay."""

    def make(pipeline: Pipeline, inputs: Inputs, old: HideMap | None, *_: object) -> Made:
        x = 700.0 if inputs.hide_at_px is not None and inputs.hide_at_px[0] > 750 else 0.0
        info = replace(rectangle_map().photo, file=pipeline.photo.file, sha256=pipeline.photo.sha256)
        made = with_identity(replace(at(x, photo=info, inputs=inputs), hide_id=""))
        added = () if old is None else tuple(mark for mark in old.marks if mark.status == "added")
        return Made(replace(made, marks=(*made.marks, *added)), {"map": b"png"})

    monkeypatch.setattr(one_photo, "make", make)


def mapped(photo: Photo, folder: Path, **given: object) -> tuple[str, HideMap]:
    beside = next(p for p in (folder, *folder.parents) if (p / "may").exists()) / "may"
    path, made = map_read(photo, beside, Inputs(**given), Keeping(folder), Settings())  # type: ignore[arg-type]
    return path.name, made


@pytest.mark.usefixtures("two_hides")
def test_a_second_hide_of_a_photo_is_a_map_of_its_own(photo: Photo, tmp_path: Path) -> None:
    out = tmp_path / "maps"
    name, first = mapped(photo, out, species="deer")
    mark = replace(first.marks[0], id="stain-9", kind="stain", status="added")
    save_map(out / name, replace(first, marks=(*first.marks, mark)))
    other_name, other = mapped(photo, out, hide_at_px=(1000.0, 400.0), species="elk")
    assert (name, other_name) == ("hide.hide.json", "hide-2.hide.json")
    assert first.hide_id != other.hide_id and "stain-9" not in {m.id for m in other.marks}
    assert read_map(out / name).inputs.species == "deer"
    # Pointed at elsewhere, each is found again: on itself, and just beside its outline.
    again_name, again = mapped(photo, out, hide_at_px=(900.0, 600.0), thickness_mm=2.0)
    assert (again_name, again.hide_id, again.inputs.species) == (other_name, other.hide_id, "elk")
    left_name, left = mapped(photo, out, hide_at_px=(90.0, 600.0))
    assert (left_name, left.hide_id) == (name, first.hide_id) and "stain-9" in {m.id for m in left.marks}
    assert sorted(p.name for p in out.glob("*.hide.json")) == ["hide-2.hide.json", "hide.hide.json"]


@pytest.mark.usefixtures("two_hides")
def test_a_second_hide_leaves_the_name_of_another_photo_alone(photo: Photo, tmp_path: Path) -> None:
    Image.fromarray(np.zeros((4, 4, 3), np.uint8)).save(tmp_path / "may" / "hide-2.png")
    mapped(photo, tmp_path / "may")
    assert mapped(photo, tmp_path / "may", hide_at_px=(1000.0, 400.0))[0] == "hide-3.hide.json"


@pytest.mark.usefixtures("two_hides")
def test_a_photo_mapped_into_another_folder_is_found_again(photo: Photo, tmp_path: Path) -> None:
    name, made = mapped(photo, tmp_path / "maps" / "deer")
    path = tmp_path / "maps" / "deer" / name
    assert b"may/" not in path.read_bytes()  # what is sent on does not say where the photo lies
    assert find_photo(path, made.photo) is not None
    assert pixels_of_map(path, made, None, SMALL)[1].shape == (400, 400, 3)
    kept = tmp_path / "maps" / "deer" / "hide.hide" / "photo.json"
    assert json.loads(kept.read_text()) == {"photo": "../../may/hide.png"}
    (tmp_path / "maps").rename(tmp_path / "moved")  # a folder beside: the way to it is the same
    assert find_photo(tmp_path / "moved" / "deer" / name, made.photo) is not None


def test_a_photo_is_looked_for_in_the_folder_above_and_known_by_its_content(tmp_path: Path) -> None:
    made = rectangle_map(photo=replace(rectangle_map().photo, sha256=hashlib.sha256(b"mine").hexdigest()))
    folder = tmp_path / "maps"
    folder.mkdir()
    assert find_photo(folder / "a.hide.json", made.photo) is None
    (tmp_path / "hide.jpg").write_bytes(b"mine")
    (folder / "hide.jpg").write_bytes(b"another one of the same name")
    assert find_photo(folder / "a.hide.json", made.photo) == tmp_path / "hide.jpg"
    remember_photo(folder / "a.hide.json", folder / "hide.jpg")
    assert not (folder / "a.hide").exists()  # beside the map there is nothing to remember


def test_facts_and_marks_are_given_without_the_photo(tmp_path: Path) -> None:
    path = tmp_path / "a.hide.json"
    save_map(path, rectangle_map())
    gone = tmp_path / "gone.jpg"
    made = edit_one(path, gone, Inputs(species="bison", tannage="smoked"), {"hole-1": "rejected"}, Settings())
    assert (made.inputs.species, made.inputs.tannage, made.revision) == ("bison", "smoked", 1)
    assert made.measures.area_net.value == pytest.approx(600_000.0)
    assert "size-unusual" in {w.code for w in made.warnings}  # 6.5 ft2 is no bison's hide, and follows from the word
    back = edit_one(path, gone, Inputs(species="deer"), {}, Settings())
    assert "size-unusual" not in {w.code for w in back.warnings}
    with pytest.raises(BadInput, match="photo is not there"):
        edit_one(path, gone, Inputs(thickness_mm=2.0), {}, Settings())
