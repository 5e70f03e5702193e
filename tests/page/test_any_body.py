"""The page's request bodies, whatever they are: an answer, never an error of the server, and no journal that breaks."""

import json
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from PIL import Image
from starlette.testclient import TestClient

from hidescan.basics.errors import BadInput
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.hide_map.model import Inputs, MarkKind
from hidescan.page.door import Door
from hidescan.page.journal import Given, MarkWord, edit_from, edit_line, state_of, with_edit
from hidescan.page.routes.hides import make_app
from hidescan.page.settings import PageSettings
from hidescan.page.worker.words import with_words
from hidescan.settings import Settings
from tests.samples import rectangle_map

HOST = "127.0.0.1:8744"
OURS = {"origin": f"http://{HOST}"}
TEXT = st.text(max_size=8) | st.sampled_from(["\ud800", "a\nb", "x" * 500, "deer", "../..", "4.5oz", "hole-1"])
NUMBER = st.integers(-5, 5) | st.sampled_from([10**30, 2**63, 1e300, float("inf"), float("nan"), -0.0, 0.5])
ANY = st.recursive(
    st.none() | st.booleans() | NUMBER | TEXT,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=8,
)
FIELD = st.sampled_from([*Inputs.__dataclass_fields__, "nothing"])
POINT = st.tuples(NUMBER, NUMBER).map(list)
RING = st.lists(st.tuples(*2 * [st.floats(-50, 1200) | st.sampled_from([0.0, 400.0, 500.0, 1e6, -1e6])]), max_size=6)
MARK = st.fixed_dictionaries(
    {},
    optional={
        "of_px": RING,
        "ring_px": RING,
        "kind": st.sampled_from(get_args(MarkKind)),
        "of_kind": st.sampled_from(get_args(MarkKind)),
        "status": st.sampled_from(["found", "confirmed", "rejected"]),
    },
)
VALUE = ANY | POINT | st.lists(POINT, max_size=4) | st.fixed_dictionaries({"photo_px": POINT, "inside": st.booleans()})
EDIT = st.fixed_dictionaries(
    {"what": TEXT | ANY},
    optional={
        "set": st.dictionaries(FIELD, VALUE, max_size=2) | ANY,
        "add": st.dictionaries(FIELD, st.lists(VALUE, max_size=2), max_size=2) | ANY,
        "mark": st.fixed_dictionaries({"id": TEXT, "word": TEXT}) | ANY,
        "key": TEXT | ANY,
        "base": st.just(-7),
        "label": ANY,
        "file": TEXT,
        "spots": ANY,
        "piece": ANY,
        "x": NUMBER,
        "drawing": TEXT,
        "rules": TEXT,
    },
)


@given(EDIT)
@settings(max_examples=150)
def test_an_edit_that_is_taken_can_be_read_back_and_shown(plain: dict[str, Any]) -> None:
    """What is taken goes into the journal: a line that could not be read again would shut the hide for ever."""
    try:
        edit = edit_from({key: plain[key] for key in ("what", "set", "add", "mark", "key") if key in plain})
        after = with_edit(Given(), edit)
    except BadInput as error:
        assert "\n" not in str(error)
        return
    line = edit_line(edit)
    assert "\n" not in line
    line.encode()
    state = state_of([line])
    assert state.given == after
    json.dumps(state.undo).encode()


@given(st.lists(MARK, max_size=3))
@settings(max_examples=200)
@example([{"ring_px": [(0, 0), (1, 1), (2, 2), (0, 0)]}])  # a line
@example([{"ring_px": []}])
@example([{"of_px": [], "status": "confirmed"}])
@example([{"of_px": [(400, 400)], "status": "rejected"}])
@example([{"of_px": [(0, 0), (0, 1), (1e-81, 0)]}])  # an area that is lost on the way to mm
@example([{"ring_px": [(-1e6, -1e6), (1e6, -1e6), (1e6, 1e6)]}])
@example([{"ring_px": [(-3000, -3000), (3000, -3000), (3000, 3000), (-3000, 3000)]}])  # all of the hide
def test_a_mark_drawn_anyhow_is_in_a_map_that_can_be_read_or_is_refused(plain: list[dict[str, Any]]) -> None:
    words = tuple(edit_from({"what": "a mark", "mark": mark}).mark or MarkWord() for mark in plain)
    try:
        made = with_words(rectangle_map(), words, Settings())
    except BadInput as error:
        assert "Undo" in str(error)
        return
    written = to_json(made)
    assert to_json(from_json(written, "m.hide.json")) == written


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[TestClient, str]]:
    """The page with one work on it, of a photo that shows no hide."""
    made = tmp_path_factory.mktemp("bodies")
    door = Door(PageSettings(), lambda code: None, lambda: 0.0)
    app = make_app(Path(made) / "page", door, frozenset({HOST}), "hidescan", PageSettings())
    picture = BytesIO()
    Image.new("RGB", (1200, 900), "grey").save(picture, "JPEG", quality=30)
    with TestClient(app, base_url=f"http://{HOST}", follow_redirects=False) as client:
        assert client.get("/", params={"code": door.code}).status_code == 303
        yield client, client.post("/api/works?name=a.jpg", content=picture.getvalue(), headers=OURS).json()["id"]


@pytest.mark.parametrize("route", ["edits", "undo", "pieces/load", "pieces/check", "pieces/lay", "none"])
def test_any_body_gets_an_answer(page: tuple[TestClient, str], route: str) -> None:
    """A body that stands at another place than the work changes nothing, so that each is answered at once."""
    client, name = page

    @given(EDIT | ANY)
    @settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
    def sent(plain: Any) -> None:
        body = json.dumps(plain).encode()
        for work in (name, "0123456789abcdef"):
            answer = client.post(f"/api/works/{work}/{route}", content=body, headers=OURS)
            assert answer.status_code in (200, 404, 405, 409, 422), answer.text
            assert route not in ("edits", "undo") or answer.status_code != 200 or answer.json()["at"] == 0

    sent()


def test_a_body_that_is_no_json_gets_an_answer(page: tuple[TestClient, str]) -> None:
    client, name = page
    for body in (b"", b"\xff\xfe", b"[" * 2000, b'{"what": "\\ud800"}', b'{"base": 1e999}', b"9" * 5000, b'{"a":1}x'):
        for route in ("edits", "undo", "pieces/load"):
            answer = client.post(f"/api/works/{name}/{route}", content=body, headers=OURS)
            assert answer.status_code in (200, 404, 409, 422)
