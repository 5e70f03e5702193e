// Taps that say what is hide and what is not; the outline is found again with each.
import { choice, el } from "./dom.js";
import { problem } from "./look.js";

let inside = true;

function sample(isInside) {
  return el("span", { className: isInside ? "disc" : "ring-bar", "aria-hidden": "true" });
}

export const taps = {
  name: "taps",
  label: "Taps",

  panel(app) {
    const several = app.work.view?.problem?.code === "several-hides";
    return el("div", {},
      app.work.view?.problem ? problem(app, app.work.view.problem) : null,
      several
        ? null
        : choice("What a tap says", [[true, [sample(true), "Hide"]], [false, [sample(false), "Not hide"]]], inside, (to) => {
          inside = to;
          app.panel();
        }),
      several ? null : el("p", { className: "tell" }, "Tap a place that is on the wrong side of the rim. Tap a mark of yours to take it away."),
      app.scene.hints.length
        ? el("button", { type: "button", onclick: () => app.give({ what: "taps cleared", set: { hints: [] } }) }, "Take all taps away")
        : null);
  },

  down: () => false,
  drag() {},
  up() {},

  tap(app, at, tolerance) {
    const px = at.map((v) => Math.round(v * 10) / 10);
    if (app.work.view?.problem?.code === "several-hides") {
      app.give({ what: "hide chosen", set: { hide_at_px: px } });
      return;
    }
    const { hints } = app.scene;
    const there = hints.findIndex(({ photo_px: [x, y] }) => Math.hypot(x - at[0], y - at[1]) < tolerance);
    const next = there >= 0 ? hints.filter((_, i) => i !== there) : [...hints, { photo_px: px, inside }];
    app.scene.hints = next;
    app.chart.redraw();
    app.give({ what: there >= 0 ? "tap taken away" : inside ? "tap inside" : "tap outside", set: { hints: next } });
  },
};
