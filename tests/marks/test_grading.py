import pytest
from shapely.geometry import box

from hidescan.basics.errors import BadInput
from hidescan.hide_map.model import MarkEntry
from hidescan.marks.grading import Graded, graded, read_grades, shipped_grades
from hidescan.settings import Settings
from tests.marked import disc, mark, marked_map, some_marks

U = Settings().usable


def by(name: str, *marks: MarkEntry) -> Graded:
    return graded(marked_map(*marks), read_grades(shipped_grades()[name], name), U)


def strip(share: float, y: float = 0.0) -> MarkEntry:
    """A stain over this share of the hide of 600 x 1000 mm, from y upward, confirmed."""
    return mark("stain-1", box(-300, y, 300, y + 1000 * share), "stain", status="confirmed")


@pytest.mark.parametrize(
    ("share", "grade"),
    [
        (0.05, "I"),
        (0.099, "I"),
        (0.11, "II"),
        (0.199, "II"),
        (0.21, "III"),
        (0.39, "III"),
        (0.41, "IV"),
        (0.69, "IV"),
        (0.71, "V"),
    ],
)
def test_bands_of_iso_17551(share: float, grade: str) -> None:
    """ISO 17551:2018, clause 5: up to 10, 20, 40, 70 % faulty and beyond; rules for neck and shoulder never decide here."""
    found = by("iso-17551", strip(share))
    assert found.grade == grade
    assert found.usable_percent == pytest.approx(100 * (1 - share), abs=0.01)


def test_neck_and_shoulder_of_iso_17551() -> None:
    """Clause 5 again: II has neck and shoulder clean, III three quarters of them."""
    small = by("iso-17551", strip(0.03, 700), mark("hole-2", disc(0, 200, 10), "hole", confidence=0.8))
    assert small.grade == "III"
    assert small.decided.startswith("not grade II: 1 in neck and shoulder (stain-1)")
    large = by("iso-17551", strip(0.15, 700))
    assert large.grade == "IV"
    assert "62.5 % of neck and shoulder is under 75 %" in large.decided
    assert by("iso-17551", mark("hole-2", disc(0, 200, 10), "hole", confidence=0.8)).decided == (
        "not grade I: hole-2, sure to 80 %, and no hole is allowed"
    )


@pytest.mark.parametrize(
    ("share", "grade"), [(0.0999, "1"), (0.1001, "2"), (0.199, "2"), (0.201, "3"), (0.299, "3"), (0.31, "no grade")]
)
def test_bands_of_gost_1904(share: float, grade: str) -> None:
    """GOST 1904-81, table 4: 100 to 90, 89.9 to 80, 79.9 to 70 % of useful area."""
    assert by("gost-1904", strip(share)).grade == grade


def test_a_limit_within_the_uncertainty_is_said() -> None:
    remarks = by("gost-1904", strip(0.1001)).remarks
    assert any("grade 1: its limit of 90 %" in words for words in remarks)
    assert not by("gost-1904", strip(0.15)).remarks


def test_a_hole_takes_its_area_from_the_whole_hide_and_rejected_marks_count_nothing() -> None:
    hole = mark("hole-1", box(-100, 100, 100, 250), "hole", status="confirmed")
    assert by("gost-1904", hole).usable_percent == pytest.approx(95.0)
    gone = mark("hole-1", box(-100, 100, 100, 250), "hole", status="rejected")
    assert by("gost-1904", gone).usable_percent == pytest.approx(100.0)


def test_margins_count_where_a_table_says_so_and_by_default() -> None:
    text = '[[grade]]\nname = "A"\nmost_marks = 3\nleast_usable_percent = 50'
    with_margins = graded(some_marks(), read_grades(text, "t"), U)
    without = graded(some_marks(), read_grades("margins = false\n" + text, "t"), U)
    assert with_margins.usable_percent < without.usable_percent
    assert with_margins.decided == "not grade A: 4 marks, at most 3 allowed"
    assert with_margins.grade == "no grade"


def test_a_part_that_the_map_lacks_is_not_judged_in_silence() -> None:
    text = '[[grade]]\nname = "A"\n[[grade.part]]\nzones = ["shank"]\nmost_marks = 0'
    assert "not checked" in graded(some_marks(), read_grades(text, "t"), U).remarks[0]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[[grade]\n", "is not TOML"),
        ("", "holds no grade"),
        ("[[grades]]\nname='A'", "grades is not known; did you mean grade?"),
        ("[[grade]]\nname='A'\nleast_usable = 90", "did you mean least_usable_percent?"),
        ("[[grade]]\nname='A'\nleast_usable_percent = 'ninety'", "least_usable_percent should be a number"),
        ("[[grade]]\nname='A'\nleast_usable_percent = 900", "out of range"),
        ("[[grade]]\nname='A'\nnot_allowed = ['holes']", "did you mean hole?"),
        ("[[grade]]\nname='A'\nmost_marks = true", "most_marks should be a whole number"),
        ("[[grade]]\nmost_marks = 3", "has no name"),
        ("[[grade]]\nname='A'\n[[grade.part]]\nzones=['sholder']", "did you mean shoulder?"),
        ("[[grade]]\nname='A'\n[[grade.part]]\nmost_marks=1", "names no zones"),
        ("grade = 3", "grade should be a list"),
        ("grade = [3]", "is not a table"),
    ],
    ids=range(13),
)
def test_a_bad_table_gets_one_clear_line(text: str, says: str) -> None:
    with pytest.raises(BadInput, match=says.replace("?", r"\?")) as caught:
        read_grades(text, "my.toml")
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("my.toml")


def test_every_shipped_table_names_its_source() -> None:
    for name, text in shipped_grades().items():
        table = read_grades(text, name)
        assert any(word in table.source for word in ("ISO", "GOST"))
        assert not table.margins
