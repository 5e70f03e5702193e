// Reference cards: print them, then say how long their check bars came out.
import * as api from "./api.js";
import { choice, el } from "./dom.js";
import { CAPTIONS, picture } from "./signs.js";
import { units } from "./units.js";

let numbers = new Set([1, 2]), paper = null;

const inches = () => units() === "ft";
const BARS = { across: 150, along: 200 };
const bar = (mm) => (inches() ? `${(mm / 25.4).toFixed(2)} in` : `${mm.toFixed(1)} mm`);

/** Paper as it is usual where the units are. */
const usual = () => paper ?? (inches() ? "letter" : "a4");

export async function showCards(app) {
  const place = document.getElementById("cards");
  const measured = await api.cards();
  const draw = (now) => place.replaceChildren(...view(app, now, draw));
  draw(measured);
}

function view(app, measured, draw) {
  const asked = new URLSearchParams({ numbers: [...numbers].sort().join(","), paper: usual() });
  const again = () => draw(measured);
  return [
    el("h2", {}, "Cards to print"),
    el("figure", {}, picture("cards"), el("figcaption", {}, CAPTIONS.cards)),
    el("p", { className: "soft" }, "Two for most hides, four for a whole cowhide. Print at 100 %, never “fit to page”, on matt paper; best glued to something stiff."),
    el("div", { className: "choice numbers", role: "group", "aria-label": "Numbers of the cards" },
      ...Array.from({ length: 10 }, (_, n) => el("button", { type: "button", "aria-pressed": String(numbers.has(n)), "aria-label": `Card ${n}`, onclick: () => {
        if (!numbers.delete(n)) numbers.add(n);
        again();
        document.querySelector(`#cards [aria-label="Card ${n}"]`).focus();
      } }, String(n)))),
    choice("Paper", [["a4", "A4"], ["letter", "US Letter"]], usual(), (to) => {
      paper = to;
      again();
    }),
    numbers.size
      ? el("p", {}, el("a", { className: "button main", id: "print-cards", href: `/api/cards/print.pdf?${asked}`, download: "" },
        `${numbers.size === 1 ? "The card" : `The ${numbers.size} cards`} as PDF`))
      : el("p", { className: "warning" }, "Choose at least one card."),
    el("h2", {}, "Check bars"),
    el("p", { className: "soft" }, "Printers are the largest error of all. Measure both bars of one printed page, between the middles of their ticks. It counts for the numbers chosen above."),
    bars(app, draw),
    Object.keys(measured).length
      ? el("ul", { id: "measured" }, ...Object.entries(measured).map(([n, [across, along]]) => el("li", {}, `Card ${n}: ${bar(across)} across, ${bar(along)} along`)))
      : el("p", { id: "measured", className: "soft" }, "No card was measured yet."),
  ];
}

function bars(app, draw) {
  const field = (name) => el("input", { id: `bar-${name}`, type: "text", inputMode: "decimal", autocomplete: "off", required: true });
  const across = field("across"), along = field("along"), unit = inches() ? "in" : "mm";
  return el("form", { id: "bars", onsubmit: async (event) => {
    event.preventDefault();
    const length = (input) => `${input.value.trim().replace(",", ".")}${unit}`;
    const now = await app.wait("keeping the bars", () => api.measureCards([...numbers], length(across), length(along)));
    if (!now) return;
    draw(now);
    app.say("Kept: every photo with these cards uses it.", true);
  } },
  el("p", { className: "field" }, el("label", { for: "bar-across" }, `Bar across the page, about ${bar(BARS.across)}`), across),
  el("p", { className: "field" }, el("label", { for: "bar-along" }, `Bar along the page, about ${bar(BARS.along)}`), along),
  el("button", { type: "submit" }, "Keep these lengths"));
}
