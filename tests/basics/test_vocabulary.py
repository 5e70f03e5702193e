"""One list of each trade name, understood wherever it is used, however it was spelled before."""

import re
from pathlib import Path

import pytest

import hidescan
from hidescan.anatomy.care import cautions

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
