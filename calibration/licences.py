"""Writes studies/licences.md: licences of what is installed with hidescan, as the packages themselves state them.

python -m calibration.licences
"""

import re
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import hidescan

PAGE = Path(hidescan.__file__).parent / "page" / "built" / "licences.txt"
OUT = Path(__file__).parent / "studies" / "licences.md"
EXTRAS = ("", "cluster")
# Where a package says no more than that, its classifiers are plain enough.
_CLASSIFIER = "License :: OSI Approved :: "


def installed(name: str, extras: tuple[str, ...]) -> dict[str, Distribution]:
    """A package and all that it needs on this platform, by name; what is not installed here is left out."""
    found: dict[str, Distribution] = {}
    waiting = [(name, extras)]
    while waiting:
        name, extras = waiting.pop()
        name = canonicalize_name(name)
        if name in found:
            continue
        try:
            found[name] = distribution(name)
        except PackageNotFoundError:
            continue
        for line in found[name].requires or ():
            need = Requirement(line)
            if need.marker is None or any(need.marker.evaluate({"extra": extra}) for extra in extras or ("",)):
                waiting.append((need.name, ("", *sorted(need.extras))))
    return found


def licence(package: Distribution) -> str:
    """As the package states it: its SPDX expression, else its classifiers, else the first line of its own words."""
    about = package.metadata
    if "License-Expression" in about:
        return about["License-Expression"]
    classifiers = [line.removeprefix(_CLASSIFIER) for line in about.get_all("Classifier") or [] if _CLASSIFIER in line]
    words = about["License"].strip().splitlines() if "License" in about else []
    return ", ".join(classifiers) or (words[0] if words else "not stated")


def libraries_inside(package: Distribution) -> str:
    """Names of the compiled libraries of others that its wheel holds beside its own modules."""
    files = [path for path in package.files or () if re.search(r"\.(libs|dylibs)(/|$)", path.parent.as_posix())]
    return ", ".join(sorted({re.sub(r"[-.][0-9a-f]{8}\b.*|[-.]\d.*|\.so.*|\.dylib|\.dll", "", p.name) for p in files}))


def page(packages: dict[str, Distribution], bundle: str) -> str:
    """The page, Markdown.

    Parameters
    ----------
    bundle
        What the build of the page wrote of the packages in its script; empty where it was not built.
    """
    inside = re.findall(r"^(\S+) (\d\S*) \(([^)]+)\)$", bundle, flags=re.MULTILINE)
    rows = [(name, licence(packages[name]), libraries_inside(packages[name])) for name in sorted(packages)]
    return "\n".join(
        [
            "# licences",
            "",
            f"`.ci/task licences`, version {hidescan.__version__}: what is installed with hidescan and its extra "
            "`cluster`, as the packages state it.",
            "",
            "| package | licence | libraries inside its wheel |",
            "|---|---|---|",
            *(f"| {name} | {stated} | {libraries} |" for name, stated, libraries in rows if name != "hidescan"),
            "",
            "Libraries inside a wheel have licences of their own; among them GEOS "
            "(LGPL-2.1), libheif and libde265 (LGPL-3.0), x265 (GPL-2.0), FFmpeg (LGPL-2.1), Qt 5 (LGPL-3.0).",
            "",
            "In the page's script:",
            "",
            "| package | licence |",
            "|---|---|",
            *(f"| {name} | {stated} |" for name, _, stated in inside),
            "",
        ]
    )


def main() -> None:
    """Write it."""
    OUT.parent.mkdir(exist_ok=True)
    bundle = PAGE.read_text("utf-8") if PAGE.is_file() else ""
    OUT.write_text(page(installed("hidescan", EXTRAS), bundle), "utf-8")
    print(OUT)


if __name__ == "__main__":
    main()
