// Two to four hides side by side at one scale, neck up, their figures under each other, the better one marked.
import * as api from "./api.js";
import { el } from "./dom.js";
import { area, length, thickness, units, unitsChoice } from "./units.js";
import { cardsOf } from "./wall.js";

const place = () => document.getElementById("comparison");
const pair = (found) => (found ? [Number(found[0]), found[1] === null ? null : Number(found[1])] : null);
const share = ([value], [whole]) => `${((100 * value) / whole).toFixed(0)} %`;

/** Rows of the table: name, what is shown of a hide, its figure with ±, and whether less is better. */
const ROWS = [
  { name: "Usable foot", shown: ({ foot, price }) => (foot ? `${foot.amount}${foot.u === null ? "" : ` ± ${foot.u}`} ${foot.currency}`.trim() : price ? "?" : "no price"),
    figure: ({ foot }) => foot && pair([foot.amount, foot.u]), less: true, same: ({ foot }) => foot?.currency },
  { name: "Price", shown: ({ price }) => price || "no price" },
  { name: "Usable", shown: ({ seen }) => area(...seen.area_usable), figure: ({ seen }) => seen.area_usable },
  { name: "Area", shown: ({ seen }) => area(...seen.area_net), figure: ({ seen }) => seen.area_net },
  { name: "Of it usable", shown: ({ seen }) => share(seen.area_usable, seen.area_net) },
  { name: "Length", shown: ({ seen }) => length(seen.length[0]), figure: ({ seen }) => seen.length },
  { name: "Width", shown: ({ seen }) => length(seen.width[0]), figure: ({ seen }) => seen.width },
  { name: "Marks", shown: ({ seen }) => `${seen.marks}${seen.holes ? `, ${seen.holes} of them ${seen.holes === 1 ? "a hole" : "holes"}` : ""}`,
    figure: ({ seen }) => [seen.marks, 0], less: true },
  { name: "Thickness", shown: ({ seen }) => (seen.thickness_mm ? thickness(seen.thickness_mm) : "not given") },
  { name: "Species", shown: ({ seen }) => seen.species ?? "not stated" },
  { name: "Part", shown: ({ seen }) => seen.form },
  { name: "Doubtful rim", shown: ({ seen }) => (seen.doubts ? `${seen.doubts} to look at` : "none") },
];

/**
 * Which of the hides is better, or -1: better than every other by more than the two ± together, which add as squares
 * (independent photos; JCGM 100, 5.1.2). Without both ± nothing is better.
 */
export function better(figures, less) {
  if (figures.some((found) => !found || found[1] === null)) return -1;
  return figures.findIndex(([value, u], k) => figures.every(([other, v], n) => n === k || (less ? other - value : value - other) > Math.hypot(u, v)));
}

function row(one, hides) {
  const same = !one.same || hides.every((hide) => one.same(hide) === one.same(hides[0]));
  const best = one.figure && same ? better(hides.map(one.figure), one.less) : -1;
  return el("tr", {}, el("th", { scope: "row" }, one.name), ...hides.map((hide, k) => el("td", { className: k === best ? "better" : "" },
    one.shown(hide), k === best ? el("span", { className: "badge" }, "better") : null)));
}

/** Show the hides of these ids. */
export async function showComparison(app, ids) {
  const hides = await cardsOf(ids.slice(0, 4));
  if (hides.length < 2) {
    place().replaceChildren(el("p", { className: "warning" }, "Choose two to four measured hides among all hides, then compare them."));
    return;
  }
  const draw = () => place().replaceChildren(...view(app, hides, draw));
  draw();
}

function view(app, hides, draw) {
  // one scale for all: the widest fills its column, unless the longest would then be much longer than a column is wide
  const widest = Math.max(...hides.map(({ seen }) => seen.above.width_mm), ...hides.map(({ seen }) => seen.above.height_mm / 1.3));
  const asked = new URLSearchParams({ ids: hides.map(({ id }) => id).join(","), units: units(), paper: units() === "ft" ? "letter" : "a4" });
  return [
    el("h2", {}, "Side by side"),
    el("div", { className: "row noprint" }, unitsChoice(draw),
      el("button", { type: "button", onclick: () => print() }, "Print"),
      el("button", { type: "button", id: "send", onclick: () => send(app, `/api/compare.pdf?${asked}`) }, "Send as PDF")),
    el("div", { className: "wide", tabIndex: 0, role: "region", "aria-label": "The comparison" },
      el("table", { className: `of${hides.length}` },
        el("caption", { className: "soft" }, "All at one scale, neck up. ± is for 95 %. “Better” is marked only where the difference is more than both ± together."),
        el("thead", {}, el("tr", {}, el("td", {}), ...hides.map(({ id, label }) => el("th", { scope: "col" },
          el("a", { href: `#${id}` }, label))))),
        el("tbody", {},
          el("tr", { className: "pictures" }, el("th", { scope: "row" }, "From above"), ...hides.map(({ id, label, seen }) => el("td", {},
            el("img", { src: `/api/works/${id}/above.webp?at=${seen.at}`, alt: `${label} from above`, width: seen.above.width_mm, height: seen.above.height_mm,
              "data-mm": String(seen.above.width_mm), onload: (event) => (event.target.style.width = `${(100 * seen.above.width_mm) / widest}%`) })))),
          ...ROWS.map((one) => row(one, hides))))),
    el("p", { className: "soft" }, "Compare hides only in the same state: one gains or loses up to a quarter with moisture and stretch. No legal measure."),
  ];
}

/** Hand a file to the device's own way of sending, or save it where there is none. */
async function send(app, address) {
  const file = await app.wait("making the page", () => api.file(address));
  if (!file) return;
  if (navigator.canShare?.({ files: [file] })) await navigator.share({ files: [file] }).catch(() => {});
  else {
    const link = el("a", { href: URL.createObjectURL(file), download: file.name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  }
}
