// Marks: look at each, confirm or reject it, name its kind, draw it anew, draw one that was missed.
import { choice, el, select } from "./dom.js";
import { inside, nearest, rounded } from "./geometry.js";
import { length, small } from "./units.js";
import { markLabel, vocabulary } from "./vocabulary.js";

let drawing = null; // null, "new" or "again"
let kind = "hole";

const pairs = (ring) => rounded(Array.from({ length: ring.length / 2 }, (_, i) => [ring[2 * i], ring[2 * i + 1]]));

function correct(app, mark, change, what) {
  app.give({ what, mark: { of_px: pairs(mark.ring), of_kind: mark.kind, ...change } });
}

function choose(app, i) {
  app.scene.chosenMark = i;
  drawing = null;
  app.panel();
  app.chart.redraw();
}

export const marks = {
  name: "marks",
  label: "Marks",

  panel(app) {
    const all = app.scene.marks, mark = all[app.scene.chosenMark];
    if (!app.work.view?.rim) return el("p", { className: "tell" }, "Marks come with an outline.");
    if (drawing) {
      return el("div", {},
        el("p", { className: "tell" }, "Draw once round it with finger or mouse."),
        drawing === "new"
          ? el("p", { className: "field" }, el("label", { for: "new-kind" }, "Kind"),
            Object.assign(select(vocabulary.marks, kind, (to) => (kind = to)), { id: "new-kind" }))
          : null,
        el("button", { type: "button", onclick: () => choose(app, app.scene.chosenMark) }, "Leave it"));
    }
    return el("div", {},
      mark ? chosen(app, mark, app.scene.chosenMark) : el("p", { className: "tell" },
        all.length ? "Tap a mark in the photo or in the list." : "No marks were found."),
      el("div", { className: "row" },
        el("button", { type: "button", id: "add-mark", onclick: () => {
          drawing = "new";
          app.panel();
        } }, "Add a mark")),
      el("ol", { className: "marks" }, ...all.map((m, i) => el("li", {},
        el("button", { type: "button", "aria-pressed": String(i === app.scene.chosenMark), onclick: () => choose(app, i) },
          `${i + 1}  ${markLabel(m.kind)}, ${length(m.length_mm)}${{ rejected: " - not one", confirmed: " - seen", added: " - yours" }[m.status] ?? ""}`)))));
  },

  down(app, at) {
    if (!drawing) return false;
    app.scene.drawing = [at];
    return true;
  },

  drag(app, at) {
    const last = app.scene.drawing.at(-1);
    if (Math.hypot(at[0] - last[0], at[1] - last[1]) > 2 * app.chart.resolution) app.scene.drawing.push(at);
    app.chart.redraw();
  },

  up(app) {
    const drawn = app.scene.drawing;
    app.scene.drawing = [];
    app.chart.redraw();
    if (drawn.length < 4) return;
    const ring_px = rounded([...drawn, drawn[0]]);
    if (drawing === "new") app.give({ what: `${markLabel(kind)} added`, mark: { kind, ring_px } });
    else correct(app, app.scene.marks[app.scene.chosenMark], { ring_px }, "mark drawn anew");
    drawing = null;
    app.panel();
  },

  tap(app, at, tolerance) {
    if (drawing) return;
    const found = app.scene.marks
      .map((mark, i) => [inside(mark.ring, ...at) ? 0 : nearest(mark.ring, ...at).distance, i])
      .sort((a, b) => a[0] - b[0])[0];
    choose(app, found && found[0] < tolerance ? found[1] : null);
  },
};

function chosen(app, mark, i) {
  return el("div", { className: "chosen" },
    el("p", {}, el("strong", {}, `Mark ${i + 1}: ${markLabel(mark.kind)}`),
      ` ${length(mark.length_mm)} by ${length(mark.width_mm)}, ${small(mark.area_mm2)}${mark.zone ? `, ${mark.zone}` : ""}`),
    choice("Is it one?", [["confirmed", "It is one"], ["rejected", "It is none"]], mark.status, (status) =>
      correct(app, mark, { status: status === mark.status ? "found" : status }, status === "rejected" ? "mark refused" : "mark confirmed")),
    el("p", { className: "field" }, el("label", { for: "mark-kind" }, "Kind"),
      Object.assign(select(vocabulary.marks, mark.kind, (to) => correct(app, mark, { kind: to }, `mark is a ${markLabel(to)}`)), { id: "mark-kind" })),
    el("button", { type: "button", onclick: () => {
      drawing = "again";
      app.panel();
    } }, "Draw it anew"));
}
