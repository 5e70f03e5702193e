// Marks: look at each cut out of the photo, confirm or refuse it, name its kind, draw it anew, draw one that was missed.
import { el, select } from "./dom.js";
import { inside, nearest, rounded } from "./geometry.js";
import { length, small } from "./units.js";
import { markLabel, vocabulary } from "./vocabulary.js";

let drawing = null; // null, "new" or "again"
let drawn = null; // a ring drawn whose kind was not chosen yet

/** A mark's number: it stays with the mark whatever is found, turned or refused later. */
export const numberOf = ({ id }) => Number(id.split("-").at(-1));

const pairs = (ring) => rounded(Array.from({ length: ring.length / 2 }, (_, i) => [ring[2 * i], ring[2 * i + 1]]));
const withArticle = (kind) => (kind === "other" ? "something else" : `${/^[aeiou]/.test(markLabel(kind)) ? "an" : "a"} ${markLabel(kind)}`);

function correct(app, mark, change, what) {
  app.give({ what, mark: { of_px: pairs(mark.ring), of_kind: mark.kind, ...change } });
}

function choose(app, i) {
  app.scene.chosenMark = i;
  app.scene.drawing = [];
  drawing = drawn = null;
  app.panel();
  app.chart.redraw();
}

/** One mark of the list: its cut-out, what it is, and whether it is one. */
function entry(app, mark, i) {
  const number = numberOf(mark), { id } = app.work, name = `mark ${number}`;
  const judge = (status, what) => correct(app, mark, { status: status === mark.status ? "found" : status }, what);
  const gone = mark.status === "rejected", seen = ["confirmed", "added"].includes(mark.status);
  return el("li", { className: gone ? "mark gone" : "mark", "data-mark": mark.id },
    el("button", { type: "button", className: "cut-out", "aria-pressed": String(i === app.scene.chosenMark), onclick: () => choose(app, i) },
      el("img", { src: `/api/works/${id}/marks/${mark.id}.jpg?at=${app.work.at}`, alt: "", loading: "lazy", width: 88, height: 88 }),
      el("span", {}, el("strong", {}, `${number} `), markLabel(mark.kind), el("br"), `${length(mark.length_mm)} by ${length(mark.width_mm)}`,
        mark.zone ? el("span", { className: "unseen" }, `, ${mark.zone}`) : null)),
    el("span", { className: "judge" },
      el("button", { type: "button", "aria-pressed": String(seen), "aria-label": `Yes, ${withArticle(mark.kind)}: ${name}`, disabled: mark.status === "added",
        onclick: () => judge("confirmed", `${name} confirmed`) }, `Yes, ${withArticle(mark.kind)}`),
      el("button", { type: "button", "aria-pressed": String(gone), "aria-label": `Not a mark, number ${number}`,
        onclick: () => judge("rejected", `${name} refused`) }, "Not a mark")));
}

/** The mark drawn counts once its kind is chosen. */
function kindOfDrawn(app) {
  return el("div", { id: "which-kind" },
    el("p", { className: "label" }, "What is it that you drew round?"),
    el("div", { className: "choice", role: "group", "aria-label": "Kind of the new mark" }, ...vocabulary.marks.map(([kind, label]) =>
      el("button", { type: "button", "data-kind": kind, onclick: () => {
        const ring_px = drawn;
        choose(app, null);
        app.give({ what: `${label} added`, mark: { kind, ring_px } });
      } }, label))),
    el("button", { type: "button", onclick: () => choose(app, app.scene.chosenMark) }, "Leave it"));
}

export const marks = {
  name: "marks",
  label: "Marks",

  panel(app) {
    const all = app.scene.marks, mark = all[app.scene.chosenMark];
    if (!app.work.view?.rim) return el("p", { className: "tell" }, "Marks come with an outline.");
    if (drawn) return kindOfDrawn(app);
    if (drawing) {
      return el("div", {},
        el("p", { className: "tell" }, "Draw once round it with finger or mouse."),
        el("button", { type: "button", onclick: () => choose(app, app.scene.chosenMark) }, "Leave it"));
    }
    const draw = (what) => () => {
      drawing = what;
      app.panel();
    };
    return el("div", {},
      mark ? chosen(app, mark, draw("again")) : el("p", { className: "tell" },
        all.length ? "Is each of them a mark? Tap one, here or in the photo, to see it close." : "No marks were found."),
      el("div", { className: "row" }, el("button", { type: "button", id: "add-mark", onclick: draw("new") }, "Add a mark")),
      el("ul", { className: "marks" }, ...all.map((one, i) => [numberOf(one), one, i]).sort((a, b) => a[0] - b[0]).map(([, one, i]) => entry(app, one, i))));
  },

  leave(app) {
    drawing = drawn = null;
    app.scene.drawing = [];
  },

  down(app, at) {
    if (!drawing || drawn) return false;
    app.scene.drawing = [at];
    return true;
  },

  drag(app, at) {
    const last = app.scene.drawing.at(-1);
    if (Math.hypot(at[0] - last[0], at[1] - last[1]) > 2 * app.chart.resolution) app.scene.drawing.push(at);
    app.chart.redraw();
  },

  up(app) {
    const went = app.scene.drawing;
    if (went.length < 4) {
      app.scene.drawing = [];
      app.chart.redraw();
      return;
    }
    const ring_px = rounded([...went, went[0]]);
    if (drawing === "new") {
      drawn = ring_px;
      app.scene.drawing = [...went, went[0]];
    } else {
      app.scene.drawing = [];
      correct(app, app.scene.marks[app.scene.chosenMark], { ring_px }, "mark drawn anew");
    }
    drawing = null;
    app.panel();
    app.chart.redraw();
    document.querySelector("#which-kind button")?.focus();
  },

  tap(app, at, tolerance) {
    if (drawing || drawn) return;
    const found = app.scene.marks
      .map((mark, i) => [inside(mark.ring, ...at) ? 0 : nearest(mark.ring, ...at).distance, i])
      .sort((a, b) => a[0] - b[0])[0];
    choose(app, found && found[0] < tolerance ? found[1] : null);
  },
};

function chosen(app, mark, drawAgain) {
  return el("div", { className: "chosen" },
    el("p", {}, el("strong", {}, `Mark ${numberOf(mark)}: ${markLabel(mark.kind)}`),
      ` ${length(mark.length_mm)} by ${length(mark.width_mm)}, ${small(mark.area_mm2)}${mark.zone ? `, ${mark.zone}` : ""}`),
    el("p", { className: "field" }, el("label", { for: "mark-kind" }, "Kind"),
      Object.assign(select(vocabulary.marks, mark.kind, (to) => correct(app, mark, { kind: to }, `mark is ${withArticle(to)}`)), { id: "mark-kind" })),
    el("button", { type: "button", onclick: drawAgain }, "Draw it anew"));
}
