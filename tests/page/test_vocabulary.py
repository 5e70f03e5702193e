"""The page offers the program's names, and what it is given is read by the program."""

from collections.abc import Callable
from typing import Any

import pytest

from hidescan.anatomy.care import cautions
from hidescan.basics.errors import BadInput
from hidescan.basics.vocabulary import FACES, FORMS, MARKS, SPECIES, STATES, TANNAGES, Vocabulary
from hidescan.exports.formats import FORMATS
from hidescan.hide_map.facts import HideFacts, facts_of
from hidescan.page.routes.vocabulary import page_vocabulary, read_page_facts
from hidescan.settings import MeasureSettings
from tests.page.served import Screen, needs_browser

LISTS: dict[str, Vocabulary[Any]] = {
    "species": SPECIES,
    "tannage": TANNAGES,
    "state": STATES,
    "form": FORMS,
    "face": FACES,
}


def test_every_name_is_served_and_every_tannage_served_has_its_caution() -> None:
    served = page_vocabulary()
    assert [name for name, _ in served["marks"]] == list(MARKS.names)
    assert [entry["name"] for entry in served["exports"]] == list(FORMATS)
    offered = {fact["name"]: fact["options"] for fact in served["facts"]}
    assert list(offered) == list(facts_of(HideFacts))
    for name, terms in LISTS.items():
        assert [value for value, _ in offered[name]] == list(terms.names)
    assert not any("nothing is known" in cautions(name)[0] for name, _ in offered["tannage"])


def test_what_the_page_sends_is_read() -> None:
    given = {"thickness_mm": "4oz", "species": "Ox", "state": None, "tannage_other": "seal oil", "neck_px": [1, 2]}
    assert read_page_facts(given) == {
        "thickness_mm": pytest.approx(4 * 25.4 / 64),  # 1 oz is 1/64 inch, common practice
        "species": "cattle", "state": None, "tannage": "seal oil", "neck_px": [1, 2],
    }  # fmt: skip


def test_what_counts_until_it_is_given_is_what_the_settings_hold() -> None:
    thickness = next(fact for fact in page_vocabulary()["facts"] if fact["name"] == "thickness_mm")
    settings = MeasureSettings()
    assert f"{settings.typical_thickness_mm:g} ± {settings.typical_thickness_u_mm:g} mm" in thickness["unset"]


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"species": "der"}, "der: not a species known here; did you mean deer?"),
        ({"tannage": "crome"}, "did you mean chrome?"),
        ({"face": "hair"}, "not a face of the leather known here"),
        ({"species": "deer", "species_other": "roe"}, "given twice"),
        ({"thickness_mm": "thick"}, "thick"),
    ],
)
def test_what_cannot_be_read_is_refused(given: dict[str, object], says: str) -> None:
    with pytest.raises(BadInput, match=says):
        read_page_facts(given)


@needs_browser
def test_the_facts_that_the_page_asks_for(screen: Callable[..., Screen]) -> None:
    s = screen()
    s.upload("deer_on_tile.jpg")
    s.mapped()
    s.tool("facts")
    for name, terms in LISTS.items():
        if name != "face":
            shown = s.page.eval_on_selector_all(f"#f-{name} option", "all => all.map((o) => o.value)")
            assert [value for value in shown if value.strip()] == list(terms.names)
    brain = s.after(lambda: s.page.select_option("#f-tannage", "brain-tanned"))
    assert brain["given"]["inputs"]["tannage"] == "brain-tanned"
    assert "Do not soak" in s.page.inner_text("#panel")

    def own() -> None:
        s.page.select_option("#f-tannage", label="in your own words ...")
        s.page.fill("#f-tannage-own", "seal oil")
        s.page.keyboard.press("Enter")

    assert s.after(own)["given"]["inputs"]["tannage"] == "seal oil"
    assert s.page.input_value("#f-tannage-own") == "seal oil"

    def emptied() -> None:
        s.page.fill("#f-tannage-own", "")
        s.page.keyboard.press("Enter")

    assert s.after(emptied)["given"]["inputs"]["tannage"] is None

    def conditioned() -> None:
        s.page.fill("#f-conditioning", "two days at 23 C and 50 %")
        s.page.keyboard.press("Enter")

    assert s.after(conditioned)["given"]["inputs"]["conditioning"] == "two days at 23 C and 50 %"
    flesh = s.after(lambda: s.page.get_by_role("button", name="Flesh").click())
    assert flesh["given"]["inputs"]["face"] == "flesh"
