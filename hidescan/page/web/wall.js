// All hides at a glance: a card each, to sort, sift, rename, compare and throw away.
import * as api from "./api.js";
import { ask, el, select } from "./dom.js";
import { CAPTIONS, picture, sign } from "./signs.js";
import { area, thickness, unitsChoice } from "./units.js";

const MOST_COMPARED = 4;
const at = (id) => document.getElementById(id);
const chosen = new Set(); // hides to compare
let hides = [], gone = [];
let sort = "new", show = "all", words = "";

const number = (value, otherwise) => value ?? otherwise;
const SORTS = {
  new: ["Newest first", () => 0],
  label: ["By label", (a, b) => a.label.localeCompare(b.label, undefined, { numeric: true })],
  area: ["Largest first", (a, b) => number(b.seen?.area_net?.[0], -1) - number(a.seen?.area_net?.[0], -1)],
  usable: ["Most usable first", (a, b) => number(b.seen?.area_usable?.[0], -1) - number(a.seen?.area_usable?.[0], -1)],
  foot: ["Cheapest usable foot first", (a, b) => number(a.foot?.amount, Infinity) - number(b.foot?.amount, Infinity)],
  thick: ["Thickest first", (a, b) => number(b.seen?.thickness_mm, -1) - number(a.seen?.thickness_mm, -1)],
};
const SHOWS = {
  all: ["All hides", () => true],
  kept: ["Kept", (hide) => hide.kept],
  unkept: ["Not kept", (hide) => !hide.kept],
  shelf: ["On the shelf", (hide) => hide.shelf],
  look: ["To look at", (hide) => hide.refused || hide.seen?.problem || hide.seen?.doubts],
};

/** The price of a usable foot in words. */
export function footPrice({ currency, amount, u }) {
  return `${amount}${u === null ? "" : ` ± ${u}`} ${currency} a usable foot`.replace("  ", " ");
}

function facts({ seen, price, foot, kept, shelf, stage, refused }) {
  if (stage) return [el("p", { role: "status" }, stage)];
  if (refused || seen?.problem) return [el("p", { className: "warning" }, "No map yet: look at it")];
  if (!seen?.area_net) return [el("p", { className: "soft" }, "Not measured yet")];
  const day = seen.taken?.slice(0, 10).replaceAll(":", "-");
  return [
    el("p", {}, el("strong", {}, area(...seen.area_net)), " area"),
    el("p", {}, el("strong", {}, area(...seen.area_usable)), " usable"),
    el("p", { className: "soft" }, [seen.species ?? "species not stated", seen.thickness_mm ? thickness(seen.thickness_mm) : null,
      seen.marks ? `${seen.marks} ${seen.marks === 1 ? "mark" : "marks"}` : "no marks"].filter(Boolean).join(", ")),
    price ? el("p", {}, foot ? footPrice(foot) : price) : null,
    el("p", { className: "soft" }, [day, kept ? `kept ${kept}` : "not kept", shelf ? `on the shelf as ${shelf}` : "not on the shelf"].filter(Boolean).join(", ")),
  ];
}

function card(hide) {
  const { id, label, seen } = hide;
  const pick = el("input", { type: "checkbox", checked: chosen.has(id), disabled: !seen?.area_net, id: `pick-${id}`, onchange: () => {
    if (pick.checked && chosen.size >= MOST_COMPARED) pick.checked = false;
    if (pick.checked) chosen.add(id);
    else chosen.delete(id);
    comparing();
  } });
  const source = seen?.above ? `/api/works/${id}/above.webp?at=${seen.at}` : seen?.problem ? `/api/works/${id}/screen.jpg` : null;
  return el("li", { className: "hide", "data-id": id },
    el("a", { href: `#${id}` },
      source ? el("img", { src: source, alt: "", loading: "lazy", decoding: "async", className: seen.above ? "above" : "" })
        : el("span", { className: "blank" }),
      el("span", { className: "label" }, label)),
    ...facts(hide),
    el("div", { className: "deeds" },
      el("label", { className: "pick", for: pick.id }, pick, " Compare", el("span", { className: "unseen" }, ` ${label}`)),
      el("button", { type: "button", className: "quiet", title: "Rename", "aria-label": `Rename ${label}`, onclick: () => rename(hide) }, sign("pencil")),
      el("button", { type: "button", className: "quiet throw", title: "Throw away", "aria-label": `Throw away ${label}`, onclick: () => throwAway(hide) }, sign("bin"))));
}

function sifted() {
  const wanted = words.trim().toLowerCase();
  return hides
    .filter(SHOWS[show][1])
    .filter((hide) => !wanted || `${hide.label} ${hide.seen?.species ?? ""} ${hide.seen?.form ?? ""}`.toLowerCase().includes(wanted))
    .sort(SORTS[sort][1]);
}

function draw() {
  const found = sifted();
  at("works").replaceChildren(...found.map(card));
  at("found").textContent = found.length === hides.length ? `${hides.length} ${hides.length === 1 ? "hide" : "hides"}` : `${found.length} of ${hides.length} hides`;
  at("first").hidden = hides.length > 0;
  at("wall").hidden = !hides.length;
  at("units").replaceChildren(unitsChoice(draw));
  at("gone").hidden = !gone.length;
  at("gone-list").replaceChildren(...gone.map(({ id, file }) => el("li", { className: "row" }, file, " ",
    el("button", { type: "button", "aria-label": `Bring back ${file}`, onclick: () => bringBack(id) }, "Bring back"))));
  comparing();
}

function comparing() {
  for (const id of chosen) if (!hides.some((hide) => hide.id === id)) chosen.delete(id);
  const bar = at("comparing");
  bar.hidden = !chosen.size;
  at("compare-count").textContent = chosen.size < 2 ? "Choose one more to compare" : `${chosen.size} hides chosen`;
  at("compare").hidden = chosen.size < 2;
  for (const box of document.querySelectorAll(".pick input")) {
    const seen = hides.find((hide) => `pick-${hide.id}` === box.id)?.seen;
    box.disabled = !seen?.area_net || (chosen.size >= MOST_COMPARED && !box.checked);
  }
}

async function rename(hide) {
  const label = await ask("Label of this hide", { value: hide.label, yes: "Keep the label" });
  if (!label?.trim()) return;
  await api.note(hide.id, { label: label.trim() });
  await refresh();
  document.querySelector(`[data-id="${hide.id}"] a`)?.focus();
}

async function throwAway(hide) {
  if (!(await ask(`Throw ${hide.label} away? You can bring it back for 30 days.`, { yes: "Throw it away", danger: true }))) return;
  await api.remove(hide.id);
  await refresh();
  app.say(`${hide.label} was thrown away.`, true, ["Bring it back", () => bringBack(hide.id)]);
}

async function bringBack(id) {
  await api.bringBack(id);
  app.say("");
  await refresh();
}

let app = null;
let drawnOf = ""; // what the cards on the screen were made from

/** Ask for the cards anew and show them. */
export async function refresh() {
  const asked = location.hash;
  const answer = await api.list();
  if (location.hash !== asked || asked) return;
  const now = JSON.stringify(answer);
  [hides, gone] = [answer.hides, answer.thrown];
  if (now !== drawnOf || !document.querySelector(".hide")) draw();
  drawnOf = now;
  // a hide that was never measured is, one at a time, while the wall is looked at
  const unseen = hides.some((hide) => hide.stage) ? null : hides.find((hide) => !hide.seen && !hide.refused);
  if (unseen) await api.load(unseen.id);
  if ((unseen || hides.some((hide) => hide.stage)) && !document.hidden) setTimeout(() => !location.hash && refresh(), 700);
}

/** Make the wall's controls. */
export function startWall(given) {
  app = given;
  const put = (id, made) => Object.assign(made, { id });
  at("sift").replaceChildren(
    el("p", { className: "field" }, el("label", { for: "words" }, "Find"), el("input", { type: "search", id: "words", autocomplete: "off", oninput: (event) => {
      words = event.target.value;
      draw();
    } })),
    el("p", { className: "field" }, el("label", { for: "sort" }, "Order"), put("sort", select(Object.entries(SORTS).map(([name, [text]]) => [name, text]), sort, (to) => {
      sort = to;
      draw();
    }))),
    el("p", { className: "field" }, el("label", { for: "show" }, "Show"), put("show", select(Object.entries(SHOWS).map(([name, [text]]) => [name, text]), show, (to) => {
      show = to;
      draw();
    }))));
  at("how").replaceChildren(...["lay", "cards", "spoils"].map((name) => el("figure", {}, picture(name), el("figcaption", {}, CAPTIONS[name]))));
  at("compare").onclick = () => (location.hash = `compare=${[...chosen].join(",")}`);
  at("compare-none").onclick = () => {
    chosen.clear();
    draw();
  };
  for (const button of document.querySelectorAll(".try")) {
    button.onclick = async () => {
      const id = await app.wait("taking the sample", api.trySample);
      if (id) location.hash = id;
    };
  }
}

/** The wall's cards of some hides, for a comparison. */
export const cardsOf = async (ids) => {
  const { hides: all } = await api.list();
  return ids.map((id) => all.find((hide) => hide.id === id)).filter((hide) => hide?.seen?.area_net);
};

