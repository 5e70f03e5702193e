"""One list of each trade name, understood wherever it is used, however it was spelled before."""

import re
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pytest
from shapely import box, union_all

import hidescan
from hidescan.anatomy.care import cautions
from hidescan.anatomy.species import TYPICAL, plausible_size
from hidescan.anatomy.zones import lay_zones
from hidescan.basics.errors import BadInput
from hidescan.basics.vocabulary import (
    FACES,
    FORMS,
    MARKS,
    SPECIES,
    STATES,
    TANNAGES,
    ZONES,
    Face,
    FormName,
    MarkKind,
    Vocabulary,
)
from hidescan.outline.contour import FAULTS
from hidescan.settings import ThicknessSettings, ZoneLines

WEB = Path(hidescan.__file__).parent / "page" / "web"


@pytest.mark.parametrize("tannage", ["brain-tanned", "chrome"])  # the page has offered both
def test_care_knows_every_tannage_that_was_offered(tannage: str) -> None:
    assert not any("nothing is known" in line for line in cautions(tannage))


def test_brain_tan_of_unknown_smoking_is_warned_against_soaking() -> None:
    """Unsmoked brain-tan sets hard after soaking (common practice, no source); not stated is not smoked."""
    assert "Do not soak" in cautions("brain-tanned")[0]


def test_the_page_has_no_list_of_its_own() -> None:
    code = "".join(path.read_text() for path in WEB.glob("*.js"))
    lists = re.findall(r"\[\s*(?:\"[a-z -]+\",?\s*){3,}\]", code)
    assert not [found for found in lists if re.search(r"\"(deer|scratch|salted|rawhide|shoulder)\"", found)]


LISTS: tuple[Vocabulary[Any], ...] = (MARKS, ZONES, FORMS, FACES, SPECIES, TANNAGES, STATES)


@pytest.mark.parametrize("terms", LISTS, ids=lambda terms: terms.what)
def test_every_spelling_means_one_term(terms: Vocabulary[Any]) -> None:
    for term in terms.terms:
        for text in (term.name, *term.also, term.name.upper(), f" {term.name.replace(' ', ', ')} "):
            assert terms.find(text) is term
        assert term.broader in ("", *terms.names)
    assert len(set(terms.names)) == len(terms.names)


def test_the_types_of_the_map_file_hold_the_same_names() -> None:
    assert (get_args(MarkKind), get_args(FormName), get_args(Face)) == (MARKS.names, FORMS.names, FACES.names)


def test_every_species_has_a_typical_size_and_every_tannage_a_caution() -> None:
    assert set(TYPICAL) == set(SPECIES.names)
    assert all("nothing is known" not in cautions(name)[0] for name in TANNAGES.names)


def test_every_kind_of_mark_is_drawn_its_own_way() -> None:
    assert all(mark.plural for mark in MARKS.terms)
    assert len({(mark.dashes, mark.line_width) for mark in MARKS.terms}) == len(MARKS.terms)


@pytest.mark.parametrize(
    ("terms", "text", "near"),
    [
        (SPECIES, "der", "deer"),
        (SPECIES, "cows", "cattle"),
        (TANNAGES, "vegetabel", "vegetable"),
        (MARKS, "scrach", "scratch"),
    ],
)
def test_a_word_that_is_not_known_is_asked_about(terms: Vocabulary[Any], text: str, near: str) -> None:
    with pytest.raises(BadInput, match=f"{text}: not {terms.what} known here; did you mean {near}?"):
        terms.read(text)


def test_a_word_that_is_like_none_is_answered_with_the_whole_list() -> None:
    with pytest.raises(BadInput, match=r"deer, elk, goat, sheep, calf, cattle, pig, bison\. Keep it so\.$"):
        SPECIES.read("hirsch", keep="Keep it so.")


def test_narrower_meets_broader_and_not_the_other_way() -> None:
    assert TANNAGES.same("smoked brain-tanned", "brain-tanned")
    assert not TANNAGES.same("brain-tanned", "brain-tanned smoked")
    assert not TANNAGES.same("brain-tanned unsmoked", "brain-tanned smoked")
    assert TANNAGES.same("Fish oil", "fish-oil")
    assert not TANNAGES.same(None, "")


def test_tables_elsewhere_are_keyed_by_these_names() -> None:
    """Tables that cannot be derived from the lists: fitted, measured, or a detector's own."""
    lines = ZoneLines()
    curve = np.column_stack([np.zeros(9), np.linspace(0.0, 1000.0, 9)])
    hide = union_all(
        [box(-400, -100, 400, 1100), box(-700, -100, 700, 50), box(-700, 850, 700, 1000)]
    )  # a trunk and legs
    laid = {zone.name for form in FORMS.names for zone in lay_zones(hide, form, curve, lines)}
    assert laid == set(ZONES.names)
    assert {zone for zone, _ in ThicknessSettings().thinner_zones} <= set(ZONES.names)
    assert set(FAULTS) <= set(MARKS.names)
    for form in FORMS.names:
        assert plausible_size("deer", form, 1e9, 1000.0) is not None
