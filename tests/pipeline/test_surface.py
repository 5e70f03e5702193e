"""What an enemy could get hold of: code from data, the network, where a photo was taken."""

import ast
import re
import sys
import tomllib
import zlib
from collections.abc import Iterator
from functools import cache
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from PIL.ExifTags import IFD, Base
from PIL.TiffImagePlugin import IFDRational

from hidescan.cli.app import main

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "hidescan"
NETWORK = (
    "socket.connect",
    "socket.bind",
    "socket.getaddrinfo",
    "socket.gethostbyname",
    "socket.sendto",
    "urllib.Request",
)
# Where the photo was taken, in numbers that stand nowhere else: 59 deg 7' 41.0837", 163 deg 21' 13.0739".
SECONDS = (410837, 130739)
XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF exif:GPSLatitude="59,7.6847N" exif:GPSLongitude="163,21.2179E"/></x:xmpmeta>'
SAID = "Invented Lane 17"  # a photo's description may name the place too


@cache
def modules() -> dict[str, list[ast.AST]]:
    """Every node of every module, by its name."""
    return {
        p.relative_to(PACKAGE).as_posix(): list(ast.walk(ast.parse(p.read_text("utf-8"))))
        for p in PACKAGE.rglob("*.py")
    }


def imported(node: ast.AST) -> list[str]:
    """The packages that a node imports from."""
    names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
    names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
    return [name.split(".")[0] for name in names]


def test_no_code_is_made_from_data() -> None:
    """No pickle and its like, no eval, exec or compile, no shell: what is read from a file is never run."""
    modules_banned = {"pickle", "marshal", "shelve", "dill", "cloudpickle", "joblib", "yaml", "code", "ctypes", "runpy"}
    names_banned = {"eval", "exec", "compile", "__import__"}
    attributes_banned = {("os", "system"), ("os", "popen"), ("np", "load"), ("numpy", "load"), ("torch", "load")}
    found = []
    for path, nodes in modules().items():
        for node in nodes:
            where = f"{path}:{getattr(node, 'lineno', 0)}"
            found += [f"{where} imports {name}" for name in imported(node) if name in modules_banned]
            if not isinstance(node, ast.Call):
                continue
            called = node.func
            if isinstance(called, ast.Name) and called.id in names_banned:
                found.append(f"{where} {called.id}()")
            if isinstance(called, ast.Attribute) and isinstance(called.value, ast.Name):
                if (called.value.id, called.attr) in attributes_banned:
                    found.append(f"{where} {called.value.id}.{called.attr}()")
            found += [f"{where} shell" for k in node.keywords if k.arg == "shell"]
    assert found == []


def test_the_only_other_program_run_is_node_for_the_page_and_itself_for_a_drawing() -> None:
    users = {path for path, nodes in modules().items() if any("subprocess" in imported(node) for node in nodes)}
    assert users == {"page/build_hook.py", "pieces/apart.py"}


def test_only_the_page_and_the_cluster_know_of_a_network() -> None:
    network = {
        "socket",
        "ssl",
        "http",
        "urllib",
        "ftplib",
        "smtplib",
        "asyncio",
        "requests",
        "httpx",
        "uvicorn",
        "starlette",
        "distributed",
    }
    users = {path for path, nodes in modules().items() if any(network & set(imported(node)) for node in nodes)}
    assert users
    assert all(path.startswith("page/") or path == "many/cluster.py" for path in users), users


def test_the_licence_of_every_dependency_is_told() -> None:
    named = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = {re.split(r"[<>=\[ ]", d)[0] for d in (*named["dependencies"], *named["optional-dependencies"]["cluster"])}
    table = (ROOT / "calibration" / "studies" / "licences.md").read_text("utf-8")
    rows = set(re.findall(r"^\| ([a-z-]+) \| [^|]+ \|", table, re.MULTILINE))
    assert wanted - rows == set()


def rational(numerator: int, denominator: int = 1) -> IFDRational:
    return IFDRational(numerator, denominator)


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, list[str]]]:
    """A folder in which a photo with a place in it was mapped and everything was made of the map; what used a network."""
    folder = tmp_path_factory.mktemp("surface")
    image = Image.open(ROOT / "sample_images" / "goat_on_concrete.jpg")
    image.thumbnail((1320, 1320))
    exif = Image.Exif()
    exif[Base.ImageDescription] = SAID
    exif.get_ifd(IFD.Exif)[Base.FocalLengthIn35mmFilm] = 26
    exif.get_ifd(IFD.GPSInfo).update(
        {1: "N", 2: (rational(59), rational(7), rational(SECONDS[0], 10_000)),
         3: "E", 4: (rational(163), rational(21), rational(SECONDS[1], 10_000)), 6: rational(4321, 7)}
    )  # fmt: skip
    image.save(folder / "a.jpg", quality=88, exif=exif, xmp=XMP, comment=SAID.encode())
    (folder / "p.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="99mm" height="99mm" viewBox="0 0 99 99"><path id="v" d="M9,9 h60 v50 h-60 Z"/></svg>'
    )
    used: list[str] = []
    watching = [True]

    def watch(event: str, arguments: tuple[object, ...]) -> None:
        if watching[0] and event in NETWORK:
            used.append(f"{event} {arguments[1:]}")
            raise RuntimeError("no network here")

    sys.addaudithook(watch)
    patch = pytest.MonkeyPatch()
    patch.chdir(folder)
    for name in ("CONFIG", "DATA", "CACHE"):
        patch.setenv(f"XDG_{name}_HOME", str(folder / name.lower()))
    shelf = ("--shelf", "shelf.sqlite")
    for words in (
        ("card", "-o", "cards.pdf"),
        ("map", "a.jpg", "--thickness", "1.5mm"),
        ("export", "a.hide.json", "--to", "svg,dxf,geojson,csv,pdf,png"),
        ("sheet", "a.hide.json", "-o", "sheet.pdf"),
        ("marks", "a.hide.json", "--grades", "iso-17551", "--crops", "crops"),
        ("place", "a.hide.json", "p.svg", "-o", "placed", "--rounds", "1", "--to", "svg"),
        ("cost", "a.hide.json", "--price", "90 EUR"),
        ("shelf", "add", "a.hide.json", *shelf),
        ("shelf", "list", *shelf),
        ("shelf", "export", "-o", "all.json", *shelf),
        ("advise", "moccasins"),
        ("schema",),
    ):
        patch.setattr(sys, "argv", ["hidescan", *words])
        try:
            main()
        except SystemExit as stop:
            assert not stop.code, words
    watching[0] = False
    patch.undo()
    yield folder, used


def test_nothing_but_the_page_and_the_cluster_uses_a_network(worked: tuple[Path, list[str]]) -> None:
    assert worked[1] == []


def test_where_a_photo_was_taken_goes_into_no_file(worked: tuple[Path, list[str]]) -> None:
    """The place stands in the photo (else this test says nothing) and in nothing that was made of it."""
    folder = worked[0]
    photo = (folder / "a.jpg").read_bytes()
    hidden = [n.to_bytes(4, order) for n in SECONDS for order in ("big", "little")]
    hidden += [b"GPSLatitude", SAID.encode(), b"59,7.6847N", b"163,21.2179E", b"Exif\0\0"]
    hidden += [b"59.128078", b"163.353631"]  # in decimal degrees
    assert sum(word in photo for word in hidden) >= 7
    made = [path for path in folder.rglob("*") if path.is_file() and path.name not in ("a.jpg", "p.svg")]
    assert {path.suffix for path in made} >= {
        ".json",
        ".png",
        ".svg",
        ".dxf",
        ".geojson",
        ".csv",
        ".pdf",
        ".pgw",
        ".sqlite",
    }
    for path in made:
        content = path.read_bytes()
        if path.suffix not in (".png", ".pdf", ".sqlite"):  # three letters come by chance in what is packed
            assert b"GPS" not in content, path.name
        content += b"".join(unpacked(content))
        assert [word for word in hidden if word in content] == [], path.name
        if path.suffix == ".png":
            picture = Image.open(BytesIO(path.read_bytes()))
            picture.load()
            assert (
                not picture.getexif() and not {"exif", "xmp", "XML:com.adobe.xmp", "comment"} & picture.info.keys()
            ), path.name


def unpacked(content: bytes) -> Iterator[bytes]:
    """What stands in a PDF's packed streams, in a PNG's packed texts and in a shelf's packed maps."""
    for match in re.finditer(rb"\x78[\x01\x5e\x9c\xda]", content):
        try:
            yield zlib.decompressobj().decompress(content[match.start() :], 5_000_000)
        except zlib.error:
            continue
