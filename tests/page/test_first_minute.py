"""An empty page, the cards, a sample; and what is refused before it becomes a hide."""

import io
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from PIL import Image

from hidescan.basics.errors import BadInput
from hidescan.page.photo_files import refuse_no_photo
from tests.page.served import DESKTOP, PHONE, SAMPLES, Program, Screen, needs_browser, program
from tests.page.test_hands import checked

LOOKS = [{**PHONE, "color_scheme": "dark"}, {**PHONE, "color_scheme": "light"}, {"color_scheme": "dark"}, {}]
NAMES = ["phone-dark", "phone-light", "desk-dark", "desk-light"]


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Program]:
    with program(tmp_path_factory.mktemp("empty")) as running:
        yield running


@pytest.fixture(scope="module")
def fresh(empty: Program, browser: Any) -> Iterator[Callable[..., Screen]]:
    """Opens windows on a page that has no hides."""
    first = browser.new_context()
    first.new_page().goto(empty.url)
    cookies, opened = first.cookies(), []

    def new(**look: Any) -> Screen:
        context = browser.new_context(**{**DESKTOP, **look})
        context.add_cookies(cookies)
        opened.append(Screen(context, empty, url=empty.root))
        opened[-1].page.wait_for_selector("#list:not([hidden])")
        return opened[-1]

    yield new
    for screen in opened:
        screen.close()
    first.close()
    assert [fault for screen in opened for fault in screen.faults] == []


def saved(kind: str) -> bytes:
    data = io.BytesIO()
    Image.new("RGB", (64, 48), "grey").save(data, kind)
    return data.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "HEIF"])
def test_every_kind_of_photo_is_let_in(tmp_path: Path, kind: str) -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()
    (tmp_path / "a").write_bytes(saved(kind))
    refuse_no_photo(tmp_path / "a", "a")


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"%PDF-1.7\n", "hide is a PDF, not a photo. Choose a photo"),
        (b'{"format": "hidescan-map", "version": 1}', "a map file, not a photo. Choose the photo that it was made of"),
        (b"[1, 2]", "a data file, not a photo"),
        (b"\0\0\0\x18ftypmp42\0\0\0\0isommp42", "a film, not a photo"),
        (b"plain words", "no photo that can be read here"),
        (b"", "no photo that can be read here"),
    ],
)
def test_what_is_no_photo_is_named(tmp_path: Path, data: bytes, says: str) -> None:
    (tmp_path / "a").write_bytes(data)
    with pytest.raises(BadInput) as refused:
        refuse_no_photo(tmp_path / "a", "hide")
    assert says in str(refused.value)


@needs_browser
@pytest.mark.parametrize("look", LOOKS, ids=NAMES)
def test_an_empty_page_shows_how_to_begin(fresh: Callable[..., Screen], look: dict[str, Any]) -> None:
    s = fresh(**look)
    assert s.page.locator("#how svg.how").count() == 3
    assert all(s.page.locator("#how figcaption").all_inner_texts())
    for name in ("Take a photo", "Choose photos", "Cards to print", "Try a sample hide"):
        button = s.page.get_by_text(name, exact=True)
        assert button.is_visible() and button.bounding_box()["y"] < s.page.viewport_size["height"]
    checked(s)


@needs_browser
@pytest.mark.parametrize("look", LOOKS, ids=NAMES)
def test_cards_are_printed_and_their_bars_kept(fresh: Callable[..., Screen], look: dict[str, Any]) -> None:
    s = fresh(**look)
    s.page.get_by_text("Cards to print").click()
    s.page.get_by_role("button", name="A4").click()
    s.page.get_by_role("button", name="Card 4").click()
    checked(s)
    with s.page.expect_download() as waited:
        s.page.get_by_text("The 3 cards as PDF").click()
    printed = pypdfium2.PdfDocument(waited.value.path().read_bytes())
    assert len(printed) == 3
    # A4 is 210 x 297 mm (ISO 216), 72 points an inch
    assert printed[0].get_size() == pytest.approx((210 * 72 / 25.4, 297 * 72 / 25.4), abs=0.1)
    s.page.fill("#bar-across", "4")
    s.page.fill("#bar-along", "7,83")
    s.page.get_by_role("button", name="Keep these lengths").click()
    s.page.wait_for_selector("#told >> text=Measure between the middles")
    s.page.fill("#bar-across", "5,88")  # inches, where areas are in feet
    s.page.get_by_role("button", name="Keep these lengths").click()
    s.page.wait_for_selector("#measured >> text=Card 4: 5.88 in across, 7.83 in along")
    checked(s)


@needs_browser
def test_cards_and_sample_by_keyboard_alone(fresh: Callable[..., Screen]) -> None:
    s = fresh()
    keys = s.page.keyboard

    def to(selector: str) -> None:
        for _ in range(40):
            if s.page.evaluate("(selector) => document.activeElement?.matches(selector)", selector):
                return
            keys.press("Tab")
        raise AssertionError(f"{selector} cannot be reached")

    to("#to-cards")
    keys.press("Enter")
    s.page.wait_for_selector("#print-cards")
    to("#cards [aria-label='Card 1']")
    keys.press("Space")
    assert s.page.inner_text("#print-cards") == "The card as PDF"  # 2 is left
    to("#hides")
    keys.press("Enter")
    s.page.wait_for_selector("#first:not([hidden])")
    to(".try")
    keys.press("Enter")
    work = s.mapped()
    assert work["label"] == "sample hide" and work["view"]["figures"]["area_net"]["u"] > 0
    s.page.click("#hides")
    s.page.locator("#works .throw").click()
    s.page.get_by_role("button", name="Throw it away").click()
    s.page.wait_for_selector("#first:not([hidden])")


@needs_browser
@pytest.mark.parametrize("look", LOOKS[::3], ids=NAMES[::3])
def test_what_is_no_photo_never_becomes_a_hide(fresh: Callable[..., Screen], tmp_path: Path, look: Any) -> None:
    s = fresh(**look)
    (tmp_path / "bill.pdf").write_bytes(b"%PDF-1.7\n")
    (tmp_path / "deer.json").write_bytes(b'{"format": "hidescan-map"}')
    s.page.set_input_files("#files", [tmp_path / "bill.pdf", tmp_path / "deer.json"])
    s.page.wait_for_selector("#sending >> text=bill.pdf is a PDF, not a photo")
    s.page.wait_for_selector("#sending >> text=deer.json is a map file, not a photo")
    assert s.page.evaluate("fetch('/api/works').then((a) => a.json())")["hides"] == []
    checked(s)


@needs_browser
@pytest.mark.parametrize("look", LOOKS[::3], ids=NAMES[::3])
def test_a_refusal_shows_the_way_on(screen: Callable[..., Screen], tmp_path: Path, look: Any) -> None:
    s = screen(**look)
    s.upload("no_card.jpg")
    assert s.mapped()["view"]["problem"]["code"] == "no-card"
    words = s.page.inner_text("#panel")
    assert "No card can be seen" in words and "hidescan card" not in words and "--" not in words
    assert s.page.locator("#panel svg.how").count() == 1
    checked(s)
    s.page.click("[data-way=cards]")
    s.page.wait_for_selector("#print-cards")
    s.page.click("#hides")
    cut = tmp_path / "cut.jpg"
    with Image.open(SAMPLES / "side_on_tile.jpg") as whole:  # through the hide; one card is left
        whole.crop((0, 900, *whole.size)).save(cut, exif=whole.getexif(), quality=95)
    s.page.set_input_files("#files", [cut])
    assert s.mapped()["view"]["problem"]["code"] == "cut-by-frame"
    assert s.page.get_attribute("[data-tool=taps]", "aria-pressed") == "true"
    assert s.page.locator("#more-photos").is_visible()
    checked(s)
