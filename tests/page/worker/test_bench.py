"""What the page's worker keeps between requests never shows in what it answers."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from hidescan.cards.measured_prints import keep_card_scale
from hidescan.hide_map.json_io import to_json
from hidescan.hide_map.model import Inputs
from hidescan.page.journal import Given
from hidescan.page.settings import PageSettings
from hidescan.page.worker.bench import Bench, Subject, found_map, open_photo
from hidescan.page.worker.several_photos import shown
from hidescan.settings import Settings
from tests.small_photo import write_small_photo


@pytest.fixture
def work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[Inputs], Subject]:
    """A work with the sample photo, and its user's own config."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    folder = tmp_path / "work"
    folder.mkdir()
    write_small_photo(folder / "photo")
    return lambda inputs: Subject(folder, "hide.jpg", Given(inputs))


def quiet(_: str) -> None: ...


def test_a_print_measured_while_the_page_is_open_counts_at_once(work: Callable[[Inputs], Subject]) -> None:
    bench, subject = Bench(PageSettings(), Settings()), work(Inputs())
    before = found_map(bench, subject, quiet)
    keep_card_scale(tuple(card.number for card in before.cards), (0.98, 0.98))
    after = found_map(bench, subject, quiet)
    assert after.inputs.card_scale == (0.98, 0.98)
    assert after.measures.area_net.value == pytest.approx(0.98**2 * before.measures.area_net.value, rel=5e-3)
    assert to_json(after) == to_json(found_map(Bench(PageSettings(), Settings()), subject, quiet))


def test_a_photo_is_decoded_once_and_the_one_longest_unused_goes_first(work: Callable[[Inputs], Subject]) -> None:
    bench, done = Bench(PageSettings(warm_photos=1), Settings()), list[str]()
    first = open_photo(bench, work(Inputs()), done.append)
    assert open_photo(bench, work(Inputs(species="deer")), done.append) is first
    assert done == ["reading the photo"]
    other = work(Inputs()).folder.with_name("other")
    shutil.copytree(work(Inputs()).folder, other)
    open_photo(bench, Subject(other, "hide.jpg", Given(Inputs())), done.append)
    assert list(bench.photos) == [other]


def test_of_several_photos_one_is_looked_at_again_only_where_what_it_shows_changed(
    work: Callable[[Inputs], Subject],
) -> None:
    bench, done = Bench(PageSettings(), Settings()), list[str]()
    for inputs, again in (
        (Inputs(), True),
        (Inputs(species="deer", neck_px=(10.0, 10.0)), False),  # of the hide, or a pixel of one photo
        (Inputs(thickness_mm=2.0), True),
    ):
        done.clear()
        shown(bench, work(inputs), done.append)
        assert ("looking at hide.jpg" in done) == again, inputs
    keep_card_scale(tuple(range(10)), (0.98, 0.98))
    done.clear()
    shown(bench, work(Inputs(thickness_mm=2.0)), done.append)
    assert "looking at hide.jpg" in done
