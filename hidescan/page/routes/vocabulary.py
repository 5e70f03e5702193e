"""The address that gives the page its names: kinds of mark, facts to ask for, export formats."""

from dataclasses import MISSING, fields
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from hidescan.anatomy.care import cautions
from hidescan.basics.vocabulary import MARKS, TANNAGES, Vocabulary
from hidescan.exports.formats import FORMATS
from hidescan.hide_map.facts import OTHER, HideFacts, facts_of, read_facts


def vocabulary_route(at: str) -> Route:
    """The route."""

    async def served(request: Request) -> Response:
        return JSONResponse(page_vocabulary())

    return Route(at, served)


def page_vocabulary() -> dict[str, Any]:
    """All names that the page offers, as plain values; options are pairs of name and label."""
    return {
        "marks": _pairs(MARKS),
        "facts": [_form_field(name) for name in facts_of(HideFacts)],
        "exports": [
            {"name": entry.name, "label": entry.label, "faces": entry.has_faces, "sheets": entry.on_sheets}
            for entry in FORMATS.values()
        ],
    }


def read_page_facts(given: dict[str, Any]) -> dict[str, Any]:
    """What an edit sets, with facts that people wrote as text ("4.5oz", "ox") read.

    Raises
    ------
    BadInput
        A text that cannot be read, or a name that is not known.
    """
    names = [key for name in facts_of(HideFacts) for key in (name, name + OTHER)]
    texts = {name: given[name] for name in names if isinstance(given.get(name), str)}
    read = read_facts(HideFacts, texts, keep="Choose \u201cin your own words\u201d to keep it.")
    return {key: value for key, value in given.items() if key not in texts} | read


def _form_field(name: str) -> dict[str, Any]:
    """How the page asks for a fact.

    `start` is its value where nothing is given; `hints` are shown beside a value chosen.
    """
    fact = facts_of(HideFacts)[name]
    default = next(field.default for field in fields(HideFacts) if field.name == name)
    return {
        "name": name,
        "label": fact.label,
        "options": None if fact.terms is None else _pairs(fact.terms),
        "other": name + OTHER if fact.other else None,
        "hints": {name: cautions(name)[0] for name in TANNAGES.names} if fact.terms is TANNAGES else {},
        "units": list(fact.units),
        "unset": fact.unset,
        "start": None if default is MISSING else default,
    }


def _pairs(terms: Vocabulary[Any]) -> list[list[str]]:
    return [[term.name, term.shown] for term in terms.terms]
