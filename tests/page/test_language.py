"""The page speaks the trade's language: no terms of the program's own, no commands, one system of units in a view."""

import ast
import json
import re
import shutil
import subprocess
from collections.abc import Callable
from typing import Any

import pypdfium2
import pytest

from tests.page.served import ROOT, Screen, needs_browser
from tests.page.test_first_minute import LOOKS, NAMES
from tests.page.test_hands import checked

WEB = ROOT / "hidescan" / "page" / "web"
NEVER = re.compile(
    r"\brevisions?\b|JSON\b(?!\))|sha-?256|CIEDE2000|corner noise|--[a-z]{2}|hidescan (card|map|edit|marks|export|sheet|lens|check|stretch|pieces|place|cost|advise|shelf|page|schema|manual|layout|cut|light)\b|\bX,Y\b|undefined|\bNaN\b"
)
CODES = re.compile(r"\b(one-card|card-far|card-dropped|focal-doubtful|scale-unmeasured|rim-doubtful|ends-doubtful)\b")
MIXED = {
    "ft": re.compile(r"\d ?(mm|cm|m²|cm²|dm²)(?![a-z0-9²/])"),
    "metric": re.compile(r"\d ?(in|oz|ft|ft²|in²)(?![a-z0-9²/])"),
}
GROUPS = ("look", "correct", "facts", "pieces", "keep")


def in_node(code: str) -> Any:
    done = subprocess.run(["node", "--input-type=module", "-e", code], capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def stated() -> list[tuple[str, str]]:
    """Code and every fixed part of the message of each refusal and doubt of one photo's map, from the sources."""
    found = []
    for folder in ("mapping", "floor", "outline"):
        for path in sorted((ROOT / "hidescan" / folder).glob("*.py")):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name)):
                    continue
                if node.func.id in ("Doubt", "NotFound") and isinstance(node.args[0], ast.Constant):
                    parts = [part for arg in node.args[1:] for part in ast.walk(arg)]
                    texts = [str(part.value) for part in parts if isinstance(part, ast.Constant)]
                    found.append((str(node.args[0].value), " ".join(texts)))
    return found


@pytest.mark.skipif(shutil.which("node") is None, reason="needs Node.js")
def test_every_refusal_and_doubt_is_said_without_a_command() -> None:
    said = stated()
    assert len({code for code, _ in said}) > 20
    code = (
        "globalThis.localStorage = { getItem: () => 'metric' };"
        f"const {{ PROBLEMS, DOUBTS, plainly }} = await import({json.dumps(str(WEB / 'problems.js'))});"
        f"console.log(JSON.stringify({json.dumps(said)}.map(([code, text]) => (PROBLEMS[code] ?? DOUBTS[code])?.text ?? plainly(text))))"
    )
    for (name, _), text in zip(said, in_node(code), strict=True):
        assert text and not NEVER.search(text), (name, text)


@pytest.mark.skipif(shutil.which("node") is None, reason="needs Node.js")
def test_lengths_in_the_programs_words_come_in_the_units_chosen() -> None:
    """An inch is 25.4 mm; a leather ounce is 1/64 inch, common practice."""
    texts = ["254 mm of the rim are doubtful.", "2 ± 1 mm is taken.", "Print it again (hidescan card --measured)."]
    code = (
        "globalThis.localStorage = { getItem: () => 'ft' };"
        f"const {{ plainly }} = await import({json.dumps(str(WEB / 'problems.js'))});"
        f"console.log(JSON.stringify({json.dumps(texts)}.map(plainly)))"
    )
    assert in_node(code) == ["10.0 in of the rim are doubtful.", "5.0 ± 2.5 oz is taken.", "Print it again."]


@needs_browser
@pytest.mark.parametrize("look", LOOKS[1:3], ids=NAMES[1:3])
@pytest.mark.parametrize("units", ["ft", "metric"])
def test_no_view_shows_the_programs_own_words(screen: Callable[..., Screen], look: Any, units: str) -> None:
    s = screen(**look)
    s.page.evaluate("(units) => localStorage.setItem('hidescan.units', units)", units)
    s.upload("goat_on_concrete.jpg")
    s.mapped()
    groups = s.page.locator("#tools button")
    assert [name.strip() for name in groups.all_inner_texts()] == ["Look", "Correct", "Facts", "Pieces", "Keep"]
    assert groups.locator("svg").count() == len(GROUPS)
    for tool in ("look", "rim", "taps", "back", "marks", "facts", "pieces", "keep"):
        s.tool(tool)
        if tool == "look":
            s.page.click("#zones")
        shown = s.page.inner_text("body").replace("(GeoJSON)", "")
        assert not NEVER.search(shown), (tool, NEVER.search(shown))
        assert not CODES.search(shown), (tool, CODES.search(shown))
        panel = shown.replace(s.page.input_value("#f-marked"), "") if tool == "facts" else shown
        hints = " ".join(s.page.locator("#panel small").all_inner_texts()) if tool == "facts" else ""
        for part in hints.split("\n"):
            panel = panel.replace(part, "")
        assert not MIXED[units].search(panel), (tool, MIXED[units].search(panel))
    checked(s)
    if s.page.is_enabled("#keep"):  # the same hide, kept by the first of these
        s.page.click("#keep")
        s.page.wait_for_selector("#told >> text=Kept 1.")
    assert s.page.inner_text("#state") == "kept 1"
    with s.page.expect_download() as waited:
        s.page.click("[data-form=sheet]")
    text = pypdfium2.PdfDocument(waited.value.path().read_bytes())[0].get_textpage().get_text_range()
    assert not NEVER.search(text), NEVER.search(text)
