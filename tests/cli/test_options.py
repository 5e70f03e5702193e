"""Options shared by commands, and what is asked about a word that is not known."""

import subprocess
import sys
from pathlib import Path

import pytest
from typer.main import get_command
from typer.testing import CliRunner

import hidescan
from hidescan.anatomy.care import cautions
from hidescan.basics.errors import BadInput
from hidescan.cli.app import app
from hidescan.cli.options import PhotoOptions
from hidescan.cli.parsing import inputs_from
from hidescan.hide_map.facts import OTHER, HideFacts, facts_of
from hidescan.hide_map.json_io import from_json, to_json
from hidescan.hide_map.model import Inputs
from tests.samples import rectangle_map

CLI = Path(hidescan.__file__).parent / "cli"


def option_names(command: str) -> set[str]:
    found = get_command(app).commands[command]  # type: ignore[attr-defined]
    return {name for parameter in found.params for name in parameter.opts}


@pytest.mark.parametrize("command", ["map", "edit"])
def test_every_fact_is_an_option_of_map_and_of_edit(command: str) -> None:
    for name, fact in facts_of(HideFacts).items():
        option = f"--{fact.option or name}"
        assert option in option_names(command)
        assert (f"{option}-other" in option_names(command)) == fact.other


@pytest.mark.parametrize(
    ("texts", "says"),
    [
        ({"species": "hirsch"}, r"hirsch: not a species known here; did you mean .*\? .*Use --species-other to keep it\."),
        ({"tannage": "vegtable"}, r"^vegtable: not a tannage known here; did you mean vegetable\? Use --tannage-other to keep it\.$"),
        ({"state": "drid slack"}, r"did you mean dried slack\? Use --state-other to keep it\.$"),
        ({"form": "sidee"}, r"--form sidee: not a form of hide known here; did you mean side\?$"),
        ({"face": "hair"}, "--face hair: not a face of the leather known here"),
        ({"species": "deer", "species" + OTHER: "hirsch"}, "Give one of them"),
    ],
)  # fmt: skip
def test_unknown_words_are_asked_about(texts: dict[str, str | None], says: str) -> None:
    with pytest.raises(BadInput, match=says):
        inputs_from(texts, PhotoOptions(), 0.05)


def test_known_words_get_their_name_and_others_are_kept_when_asked_for() -> None:
    texts = {"species": "Ox", "tannage": "Veg-tanned", "state" + OTHER: "frozen", "form": None, "thickness_mm": "4oz"}
    made = inputs_from(texts, PhotoOptions(neck="3,4"), 0.05)
    assert made == Inputs(
        species="cattle", tannage="vegetable", state="frozen", thickness_mm=1.5875, neck_px=(3.0, 4.0)
    )
    assert inputs_from({"species" + OTHER: "wapiti"}, PhotoOptions(), 0.05).species == "elk"  # known after all


def test_the_program_asks_and_exits_with_2(tmp_path: Path) -> None:
    path = tmp_path / "m.hide.json"
    path.write_bytes(to_json(rectangle_map()))
    code = "from hidescan.cli.app import main; main()"
    command = [sys.executable, "-c", code, "edit", str(path), "--species", "der"]
    shown = subprocess.run(command, capture_output=True, text=True, cwd=CLI.parents[1])
    assert (shown.returncode, shown.stdout) == (2, "")
    assert shown.stderr == "der: not a species known here; did you mean deer? Use --species-other to keep it.\n"


def test_maps_with_spellings_of_before_open_and_are_understood() -> None:
    old = Inputs(species="Ox", tannage="brain-tanned, unsmoked", state="Wet", form="side")
    read = from_json(to_json(rectangle_map(inputs=old)), "m").inputs
    assert read == old  # nothing that a person wrote is changed
    assert cautions(read.tannage, read.state) == cautions("brain-tanned unsmoked", "wet")


def test_the_shelf_finds_what_is_spelled_otherwise_and_asks_about_the_rest(tmp_path: Path) -> None:
    def shelf(*arguments: str) -> str:
        result = CliRunner().invoke(app, ["shelf", *arguments, "--shelf", str(tmp_path / "s.sqlite")])
        if isinstance(result.exception, BadInput):
            raise result.exception
        return result.output

    shelf("add", "--label", "one", "--species", "cow", "--tannage", "chrome-tanned", "--state-other", "frozen")
    assert "one" in shelf("find", "--species", "cattle", "--tannage", "commercial", "--state", "Frozen")
    assert "no hide" in shelf("find", "--species", "deer")
    with pytest.raises(BadInput, match="catle: not a species known here; did you mean cattle"):
        shelf("find", "--species", "catle")


def test_one_enumeration_of_each_choice_and_a_file_for_each_command() -> None:
    code = {path.stem: path.read_text() for path in CLI.glob("*.py")}
    assert sum(text.count("class Units(") for text in code.values()) == 1
    assert sum(text.count("class Paper(") for text in code.values()) == 1
    assert set(get_command(app).commands) <= set(code)  # type: ignore[attr-defined]
