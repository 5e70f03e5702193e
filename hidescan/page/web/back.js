// The back line: turn it round, or drag its ends.
import { el } from "./dom.js";

let held = null; // "tail" or "neck"

const ends = ({ curve }) => ({ tail: curve.slice(0, 2), neck: curve.slice(-2) });

export const back = {
  name: "back",
  label: "Back line",

  panel(app) {
    const line = app.work.view?.back;
    if (!line) return el("p", { className: "tell" }, "Without an outline there is no back line.");
    const sure = Math.round(100 * line.confidence);
    const said = { shape: `Found from the shape; the neck end is sure to ${sure} %.`, given: "As you gave it.",
      parent: "Taken over from the whole hide.", none: "No back line can be seen. Drag its ends to where you know it." }[line.source];
    return el("div", {},
      el("p", { className: "tell" }, `${said} Drag an end to move it.`),
      el("div", { className: "row" },
        el("button", { type: "button", id: "flip", onclick: () => flip(app) }, "Turn neck and tail round"),
        app.given.back_line_px || app.given.neck_px
          ? el("button", { type: "button", onclick: () => app.give({ what: "back line let go", set: { back_line_px: null, neck_px: null } }) },
            "As found")
          : null));
  },

  down(app, at, tolerance) {
    if (!app.scene.back) return false;
    const near = Object.entries(ends(app.scene.back))
      .map(([name, [x, y]]) => [Math.hypot(x - at[0], y - at[1]), name])
      .sort((a, b) => a[0] - b[0])[0];
    held = near[0] < tolerance ? near[1] : null;
    return held !== null;
  },

  drag(app, at) {
    const { tail, neck } = { ...ends(app.scene.back), [held]: at };
    app.scene.back = { ...app.scene.back, source: "given", curve: [...tail, ...neck] };
    app.chart.redraw();
  },

  up(app) {
    const { tail, neck } = ends(app.scene.back);
    if (app.scene.back.source === "given" && held) app.give({ what: "back line dragged", set: { back_line_px: [tail, neck], neck_px: null } });
    held = null;
  },

  tap() {},
};

function flip(app) {
  const { tail, neck } = app.work.view.back;
  // a line drawn by hand is turned as it is; a found one is found again with its neck at the other end, and keeps its curve
  const set = app.given.back_line_px ? { back_line_px: [neck, tail], neck_px: null } : { neck_px: tail };
  app.give({ what: "neck and tail turned round", set });
}
