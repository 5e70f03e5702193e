// The rim by hand: drag it, add or take away points, trace a stretch anew.
import { choice, el } from "./dom.js";
import { nearest, rounded, stretch, within } from "./geometry.js";

const REACH = { fine: 0, short: 30, long: 90 }; // CSS px of rim on each side that follow a drag
let way = "drag", reach = "short";
let held = null; // {index, first, count, weights, start, base, from}

/** The given stretch takes the place of the rim between its ends. */
function give(app, pairs, what) {
  app.give({ what, add: { rim_px: [rounded(pairs)] } });
}

function grab(app, index, at, reachPx) {
  const ring = app.scene.ring;
  const { before, after } = within(ring, index, reachPx);
  const n = ring.length / 2, count = before + after + 1;
  const along = [];
  for (let k = -before; k <= after; k++) {
    const edge = k < 0 ? before + 1 : after + 1;
    along.push(Math.cos((Math.PI / 2) * (k / edge)) ** 2);
  }
  held = { index, first: (index - before + n) % n, count, along, start: at, moved: false,
    base: stretch(ring, index - before, count) };
}

function move(app, at) {
  const ring = app.scene.ring, n = ring.length / 2;
  const dx = at[0] - held.start[0], dy = at[1] - held.start[1];
  for (let k = 0; k < held.count; k++) {
    const i = 2 * ((held.first + k) % n);
    ring[i] = held.base[k][0] + held.along[k] * dx;
    ring[i + 1] = held.base[k][1] + held.along[k] * dy;
  }
  held.moved ||= Boolean(dx || dy);
  app.scene.changed = true;
  app.live();
}

export const rim = {
  name: "rim",
  label: "Rim",

  panel(app) {
    const again = () => app.panel();
    return el("div", {},
      choice("What to do with the rim", [["drag", "Drag"], ["add", "Add"], ["remove", "Smooth"], ["trace", "Trace"]], way, (to) => {
        way = to;
        app.scene.chosenPoint = null;
        again();
      }),
      el("p", { className: "tell" }, {
        drag: app.scene.ring ? "Drag the rim to where the leather ends." : "There is no rim yet: trace it, or tap inside the hide.",
        add: "Press on the rim to put a corner there, and drag it.",
        remove: "Press on a bump of the rim: it is cut off straight.",
        trace: "Draw along the edge in one stroke, from the rim back to the rim. Or go once round the whole hide.",
      }[way]),
      way === "drag" || way === "remove"
        ? choice("How much of the rim follows", [["fine", "Point"], ["short", "Short"], ["long", "Long"]], reach, (to) => {
          reach = to;
          again();
        })
        : null,
      app.scene.chosenPoint !== null && way === "drag"
        ? el("button", { type: "button", onclick: () => cut(app, app.scene.chosenPoint, Math.max(REACH[reach], 12) * app.chart.resolution) },
          "Cut this bump off")
        : null);
  },

  down(app, at, tolerance) {
    const { ring } = app.scene;
    if (way === "trace") {
      app.scene.drawing = [at];
      return true;
    }
    if (!ring) return false;
    const found = nearest(ring, ...at);
    if (found.distance > tolerance) return false;
    if (way === "remove") {
      cut(app, found.index, Math.max(REACH[reach], 12) * app.chart.resolution);
      return false;
    }
    app.scene.chosenPoint = found.index;
    if (way === "add") {
      // a corner of its own: it takes the place of a few vertices beside it
      grab(app, found.index, at, 6 * app.chart.resolution);
      held.along = held.along.map((_, k) => 1 - Math.abs(k - (held.count - 1) / 2) / ((held.count + 1) / 2));
    } else grab(app, found.index, at, REACH[reach] * app.chart.resolution);
    return true;
  },

  drag(app, at) {
    if (way === "trace") {
      const last = app.scene.drawing.at(-1);
      if (Math.hypot(at[0] - last[0], at[1] - last[1]) > 2 * app.chart.resolution) app.scene.drawing.push(at);
      app.chart.redraw();
    } else if (held) move(app, at);
  },

  up(app) {
    if (way === "trace") return traced(app);
    if (held?.moved) {
      give(app, stretch(app.scene.ring, held.first - 1, held.count + 2), "rim dragged");
      app.scene.chosenPoint = null;
    } else app.panel();
    held = null;
  },

  tap() {},
};

/** Cut a bump off: straight between the two ends of what lies within reach. */
function cut(app, index, reachPx) {
  const ring = app.scene.ring, { before, after } = within(ring, index, reachPx);
  const ends = [...stretch(ring, index - before - 1, 1), ...stretch(ring, index + after + 1, 1)];
  app.scene.chosenPoint = null;
  give(app, ends, "rim smoothed");
}

function traced(app) {
  const drawn = app.scene.drawing, { ring } = app.scene;
  app.scene.drawing = [];
  const reachPx = 22 * app.chart.resolution;
  const long = drawn.reduce((sum, p, k) => (k ? sum + Math.hypot(p[0] - drawn[k - 1][0], p[1] - drawn[k - 1][1]) : 0), 0);
  const gap = Math.hypot(drawn[0][0] - drawn.at(-1)[0], drawn[0][1] - drawn.at(-1)[1]);
  app.chart.redraw();
  if (drawn.length < 3 || long < reachPx) return;
  if (gap < Math.max(reachPx, 0.03 * long) && drawn.length > 8) {
    give(app, [...drawn, drawn[0]], "rim traced whole");
    return;
  }
  if (!ring) {
    app.say("Go once round the whole hide, back to where you began.");
    return;
  }
  for (const end of [0, drawn.length - 1]) {
    const found = nearest(ring, ...drawn[end]);
    if (found.distance < reachPx) drawn[end] = stretch(ring, found.index, 1)[0];
  }
  give(app, drawn, "rim traced");
}
