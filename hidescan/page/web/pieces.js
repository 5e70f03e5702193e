// Pieces on the hide: load them, lay and turn them by hand, let the program find places for the rest.
import * as api from "./api.js";
import { el } from "./dom.js";
import { inside, mmFromPx, nearest, turnKnob } from "./geometry.js";
import { moved, onPhoto, turnBy, turnTo } from "./lay.js";
import { plainly } from "./problems.js";
import { length, thickness } from "./units.js";

const FORMS = [["pdf", "True size, with tape distances (PDF)"], ["svg", "Outlines (SVG)"], ["dxf", "Outlines (DXF)"],
  ["csv", "Table of tape distances (CSV)"], ["json", "Placing file"]];

let table = null; // the program's last answer, with the work and the state of its map that it belongs to
let chosen = null; // id of a piece
let held = null; // {one, from, at, turning, went}
let asking = false, stale = false; // a check is on its way; the piece has moved since
let past = [], future = []; // where all pieces lay, for undo and redo
let drawing = null; // {name, data} of a file that was chosen and not loaded yet
let typed = null; // rules written and not loaded yet

const piece = (id) => table?.placed.find((one) => one.id === id);
const spots = () => table.placed.map(({ id, at, turned, kept }) => ({ id, at_mm: at, turned_deg: turned, kept }));

/** Take in an answer of the program. */
function take(app, answer, { id, at }) {
  table = answer && { ...answer, work: id, mapped: at };
  if (!piece(chosen)) chosen = table?.items.some((item) => item.id === chosen) ? chosen : null;
  draw(app);
  app.steps();
  app.panel();
  document.body.dataset.pieces = table?.tag ?? "";
}

function draw(app) {
  const { view } = app.work;
  app.scene.pieces = (table?.placed ?? []).map((one) => ({ name: one.id, broken: one.broken.length > 0, chosen: one.id === chosen,
    ...onPhoto(view.camera, table.face_mm, table.kinds[one.piece].ring, one) }));
  app.chart.redraw();
}

async function ask(app, name, request) {
  const { work } = app;
  const answer = await app.wait(name, () => request(work.id));
  if (app.work?.id !== work.id || app.tool !== pieces) return false;
  if (answer) take(app, answer, work);
  else if (table) {
    const there = await api.pieces(work.id).catch(() => null);
    if (there) take(app, there, work);
  }
  return Boolean(answer);
}

/** Lay the pieces anew and remember where they lay before. */
async function lay(app, next, what, before = spots()) {
  past.push({ what, spots: before });
  future = [];
  if (!(await ask(app, "checking", (id) => api.layPieces(id, next, table.tag)))) past.pop();
}

/** Ask what is to be said of a piece where it is now; one question at a time, the last place last. */
async function check(app, one) {
  if (asking) {
    stale = true;
    return;
  }
  asking = true;
  do {
    stale = false;
    const asked = { id: one.id, at_mm: one.at, turned_deg: one.turned };
    const told = await api.checkPiece(app.work.id, asked).catch(() => null);
    if (told && piece(one.id) === one) {
      const { at, turned, kept } = one;
      Object.assign(one, told, { at, turned, kept });
      if (held?.one === one) {
        draw(app);
        document.getElementById("piece-told")?.replaceChildren(...words(one));
      }
    }
  } while (stale && held);
  asking = false;
}

/** What is to be said of a piece. */
function words(one) {
  const { rules } = table.kinds[one.piece];
  const { mark } = one;
  const lines = [
    `${Math.abs(one.angle).toFixed(1)}° to the back line${rules.turn_deg === null ? "" : ` (up to ${rules.turn_deg}° allowed)`}`,
    `Thinnest place under it ${thickness(one.thinnest, 2 * one.thinnest_u)}${rules.min_thickness_mm ? ` (${thickness(rules.min_thickness_mm)} asked for)` : ""}`,
    ...rules.thick_parts.map((part, k) => `At the ${part} ${thickness(one.spots[k])}`),
    mark ? (mark.mm > 0 ? `${length(mark.mm)} to the nearest mark, ${mark.id}` : `Over ${mark.id}`) : "No marks on this hide",
    `${length(one.rim)} to the rim or a hole`,
    one.zone ? `In the ${one.zone}` : null,
    one.apart === null ? null : `${length(one.apart)} from the mirrored place of its mate`,
  ];
  return [
    one.broken.length
      ? el("div", { className: "warning" }, el("strong", {}, "Breaks a rule"), el("ul", { className: "plain" }, ...one.broken.map((text) => el("li", {}, plainly(text)))))
      : el("p", {}, el("strong", {}, "All its rules are kept.")),
    el("ul", { className: "plain" }, ...lines.filter(Boolean).map((text) => el("li", {}, text))),
  ];
}

/** The piece that a press takes hold of: the chosen one first, then the last laid. */
function over(app, at, tolerance) {
  const all = app.scene.pieces.toReversed().sort((a, b) => b.chosen - a.chosen);
  return (all.find(({ ring }) => inside(ring, ...at)) ?? all.find(({ ring }) => nearest(ring, ...at).distance < tolerance / 2))?.name;
}

function onKnob(app, at, tolerance) {
  const drawn = app.scene.pieces.find((one) => one.chosen);
  if (!drawn) return false;
  const [x, y] = turnKnob(drawn.middle, drawn.tip, app.chart.resolution);
  return Math.hypot(x - at[0], y - at[1]) < tolerance;
}

function choose(app, id) {
  chosen = id;
  draw(app);
  app.panel();
}

/** Turn, move or take off the chosen piece from the panel. */
function change(app, what, changed) {
  lay(app, spots().flatMap((spot) => (spot.id === chosen ? changed(spot) : [spot])), what);
}

function chosenPart(app) {
  const one = piece(chosen);
  if (!one) return el("p", { className: "tell" }, "Drag a piece to move it; the knob beyond it turns it. Tap one to see how it lies.");
  const turn = (by, text) => el("button", { type: "button", onclick: () =>
    change(app, `${chosen} turned`, (spot) => [{ ...spot, turned_deg: turnBy(spot.turned_deg, by), kept: true }]) }, text);
  return el("section", { "aria-label": one.id },
    el("h2", {}, `${one.id}${one.kept ? ", put by you" : ""}`),
    el("div", { id: "piece-told", role: "status" }, ...words(one)),
    el("div", { className: "row" }, turn(1, "1° left"), turn(-1, "1° right"), turn(180, "Half turn"),
      el("button", { type: "button", onclick: () => change(app, `${chosen} taken off`, () => []) }, "Take it off")));
}

/** One line of the list of all pieces. */
function row(app, item) {
  const one = piece(item.id), missed = table.missed.find(({ id }) => id === item.id);
  const state = one ? (one.broken.length ? "breaks a rule" : one.kept ? "put by you" : "placed") : missed ? `no place: ${plainly(missed.reason)}` : "not on the hide: put it there";
  return el("li", {}, el("button", { type: "button", "aria-pressed": String(item.id === chosen), "data-piece": item.id, onclick: () => {
    if (app.busy) return;
    if (one) choose(app, item.id);
    else {
      const map = document.getElementById("map");
      const at = mmFromPx(app.work.view.camera, ...app.chart.place([map.clientWidth / 2, map.clientHeight / 2]), table.face_mm);
      chosen = item.id;
      lay(app, [...spots(), { id: item.id, at_mm: at, turned_deg: 0, kept: true }], `${item.id} put on the hide`);
    }
  } }, `${item.id}, ${state}`));
}

function loader(app) {
  const rules = el("textarea", { id: "f-rules", rows: 8, spellcheck: false, value: typed ?? table?.rules ?? "",
    oninput: () => (typed = rules.value) });
  const said = el("p", { className: "tell", id: "chosen-file", role: "status" }, drawing?.name ?? table?.file ?? "");
  const take = async (files) => {
    for (const file of files) {
      if (file.name.toLowerCase().endsWith(".toml")) typed = rules.value = await file.text();
      else drawing = { name: file.name, data: new Uint8Array(await file.arrayBuffer()) };
    }
    said.textContent = drawing?.name ?? table?.file ?? "";
  };
  return el("form", { id: "load-pieces", onsubmit: (event) => {
    event.preventDefault();
    load(app, rules.value);
  } },
  el("p", { className: "tell" }, "A drawing of your pieces (SVG or DXF), and the TOML file with their rules, or the rules written below."),
  el("label", { className: "button" }, el("input", { type: "file", id: "piece-files", multiple: true, accept: ".svg,.dxf,.toml", onchange: (event) => take([...event.target.files]) }),
    el("span", {}, "Choose drawing and rules")),
  said,
  el("p", { className: "field" }, el("label", { for: "f-rules" }, "Rules (TOML); without any, one of each within 5° of the back line"), rules),
  el("button", { type: "submit", className: "main" }, table ? "Use these" : "Put them on the table"));
}

async function load(app, rules) {
  const encoded = drawing && btoa(Array.from(drawing.data, (byte) => String.fromCharCode(byte)).join(""));
  app.say("");
  if (await ask(app, "reading the pieces", (id) => api.loadPieces(id, { file: drawing?.name, drawing: encoded, rules }))) {
    [past, future, drawing, typed] = [[], [], null, null];
    app.steps();
    app.panel();
  }
}

export const pieces = {
  name: "pieces",
  label: "Pieces",

  /** The tool was taken up, or the map is another one than the pieces were judged on. */
  changed(app) {
    const { work } = app;
    if (!work?.view?.rim || app.busy || (table?.work === work.id && table.mapped === work.at)) return;
    if (table?.work !== work.id) [table, chosen, past, future, drawing, typed] = [null, null, [], [], null, null];
    draw(app);
    ask(app, "looking at the pieces", api.pieces);
  },

  panel(app) {
    if (!app.work.view?.rim) return el("p", { className: "tell" }, "Pieces need an outline to lie on.");
    if (table?.work !== app.work.id) return loader(app);
    const left = table.items.filter((item) => !piece(item.id));
    const wrong = table.placed.filter((one) => one.broken.length);
    return el("div", {},
      chosenPart(app),
      el("p", { id: "piece-count" }, `${table.placed.length} of ${table.items.length} pieces on the hide, ${(100 * table.yield).toFixed(0)} % of the usable area. `,
        wrong.length ? el("strong", {}, `${wrong.length} ${wrong.length === 1 ? "breaks a rule" : "break rules"}.`) : null),
      el("button", { type: "button", id: "rest", className: "main", onclick: () => rest(app) }, left.length ? "Place the rest" : "Place those anew that I did not put"),
      el("ul", { className: "marks" }, ...table.items.map((item) => row(app, item))),
      table.thickness_unmeasured ? el("div", { className: "warning" }, el("p", {}, "The thickness of this hide is typical, not measured: gauge it before you rely on it."),
        el("button", { type: "button", onclick: () => app.choose("facts") }, "Gauge readings")) : null,
      table.placed.length ? el("section", {}, el("h2", {}, "Take away"), el("ul", { className: "links" }, ...FORMS.map(([form, text]) => el("li", {},
        el("a", { href: `/api/works/${app.work.id}/pieces/files/${form}`, download: "", "data-pieces": form }, text))))) : null,
      el("h2", {}, "Other pieces or rules"),
      loader(app));
  },

  down(app, at, tolerance) {
    if (!table) return false;
    if (onKnob(app, at, tolerance)) {
      held = { one: piece(chosen), turning: true, before: spots() };
      return true;
    }
    const found = over(app, at, tolerance);
    if (!found) return false;
    if (found !== chosen) choose(app, found);
    held = { one: piece(found), from: at, at: piece(found).at, turning: false, before: spots() };
    return true;
  },

  drag(app, to) {
    if (!held) return;
    const { camera } = app.work.view, { one } = held;
    if (held.turning) one.turned = turnTo(camera, table.face_mm, one.at, to);
    else one.at = moved(camera, table.face_mm, held.at, held.from, to);
    held.went = true;
    draw(app);
    check(app, one);
  },

  up(app) {
    const { one, went, before, turning } = held ?? {};
    held = null;
    if (!went) return;
    one.kept = true;
    lay(app, spots(), `${one.id} ${turning ? "turned" : "moved"}`, before);
  },

  tap(app, at, tolerance) {
    if (chosen && !onKnob(app, at, tolerance) && !over(app, at, tolerance)) choose(app, null);
  },

  steps: () => ({ undo: past.at(-1)?.what, redo: future.at(-1)?.what }),

  step(app, word) {
    const [from, to] = word === "undo" ? [past, future] : [future, past];
    const back = from.pop();
    if (!back) return;
    to.push({ what: back.what, spots: spots() });
    ask(app, `${word}: ${back.what}`, (id) => api.layPieces(id, back.spots, table.tag));
  },
};

async function rest(app) {
  const before = spots();
  if (app.busy || !(await ask(app, "placing the rest", (id) => api.placeRest(id, table.tag)))) return;
  past.push({ what: "the rest placed", spots: before });
  future = [];
  app.steps();
  app.say(table.missed.length ? `${table.missed.length} found no place; the list says why.` : "All have a place.", !table.missed.length);
}
