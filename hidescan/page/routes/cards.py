"""The page's addresses for reference cards: the PDF to print, and what its check bars measured."""

from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from hidescan.basics.errors import BadInput
from hidescan.basics.units import parse_length_mm
from hidescan.cards.measured_prints import card_scales, keep_card_scale
from hidescan.cards.printing import ACROSS_MM, ALONG_MM, cards_pdf
from hidescan.page.routes.answers import json_body
from hidescan.page.settings import PageSettings

_NUMBERS = range(10)


def card_routes(at: str, settings: PageSettings) -> list[Route]:
    """Routes at the address of the cards."""

    async def measured(request: Request) -> Response:
        return JSONResponse(_measured())

    async def keep(request: Request) -> Response:
        plain = await json_body(request, settings.most_edit_bytes)
        keep_card_scale(_numbers(plain.get("numbers")), _scale(plain))
        return JSONResponse(_measured())

    async def printed(request: Request) -> Response:
        numbers = _numbers([int(text) for text in request.query_params.get("numbers", "").split(",") if text.isdigit()])
        paper = "letter" if request.query_params.get("paper") == "letter" else "a4"
        name = f"hidescan cards {'-'.join(str(number) for number in numbers)}.pdf"
        return Response(
            cards_pdf(numbers, "letter" if paper == "letter" else "a4"),
            media_type="application/pdf",
            headers={"content-disposition": f'attachment; filename="{name}"'},
        )

    return [Route(at, measured), Route(at, keep, methods=["POST"]), Route(at + "/print.pdf", printed)]


def _measured() -> dict[str, list[float]]:
    """Measured lengths of both check bars, mm, by card number."""
    return {
        str(number): [round(across * ACROSS_MM, 2), round(along * ALONG_MM, 2)]
        for number, (across, along) in sorted(card_scales().items())
    }


def _numbers(given: Any) -> tuple[int, ...]:
    numbers = tuple(sorted({n for n in given if n in _NUMBERS})) if isinstance(given, list) else ()
    if not numbers:
        raise BadInput("Choose at least one card.")
    return numbers


def _scale(plain: dict[str, Any]) -> tuple[float, float]:
    """Measured over true length of the bars across and along."""
    across, along = (parse_length_mm(str(plain.get(name, ""))) for name in ("across", "along"))
    scale = across / ACROSS_MM, along / ALONG_MM
    if not all(0.9 < share < 1.1 for share in scale):
        raise BadInput(
            f"The bar across is about {ACROSS_MM:.0f} mm long, the one along about {ALONG_MM:.0f} mm."
            " Measure between the middles of their ticks."
        )
    return scale
