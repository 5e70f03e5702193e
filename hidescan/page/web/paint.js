// What is drawn on the photo. Every line is light on a dark casing, so that it shows on any hide and any floor.
import { turnKnob } from "./geometry.js";
import { numberOf } from "./marks.js";
import { thickness } from "./units.js";

const CASING = "rgba(20, 16, 12, 0.85)";
export const COLOURS = {
  rim: "#ffffff", doubtful: "#ffb000", back: "#7fe3ff", mark: "#ff9bd2", rejected: "#b9b2a8", zone: "#d8f0a8",
  piece: "#c9b6ff", turn: "#ffffff",
  inside: "#9be36b", outside: "#ff8a5c", gauge: "#ffe27a", drawn: "#ffe27a",
};
const FONT = "600 14px system-ui, sans-serif";

/** The path of a ring; points that the eye cannot tell from the one before are left out. */
function trace(context, frame, ring, closed) {
  context.beginPath();
  let lastX = -1e9, lastY = -1e9;
  for (let i = 0; i < ring.length; i += 2) {
    const x = frame.x(ring[i]), y = frame.y(ring[i + 1]);
    if (Math.abs(x - lastX) + Math.abs(y - lastY) < 2 && i < ring.length - 2) continue;
    context.lineTo(x, y);
    lastX = x;
    lastY = y;
  }
  if (closed) context.closePath();
}

function line(context, frame, ring, colour, width, { closed = false, dash = [] } = {}) {
  if (ring.length < 4) return;
  trace(context, frame, ring, closed);
  context.lineJoin = "bevel";
  context.setLineDash([]);
  context.strokeStyle = CASING;
  context.lineWidth = width + 2.5;
  context.stroke();
  context.setLineDash(dash);
  context.strokeStyle = colour;
  context.lineWidth = width;
  context.stroke();
  context.setLineDash([]);
}

function words(context, text, x, y, colour) {
  context.font = FONT;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.lineJoin = "round";
  context.strokeStyle = CASING;
  context.lineWidth = 4;
  context.strokeText(text, x, y);
  context.fillStyle = colour;
  context.fillText(text, x, y);
}

function knob(context, x, y, radius, colour) {
  context.beginPath();
  context.arc(x, y, radius, 0, 2 * Math.PI);
  context.fillStyle = colour;
  context.fill();
  context.strokeStyle = CASING;
  context.lineWidth = 2.5;
  context.stroke();
}

/** A tap that says inside is a disc; one that says outside is a ring with a bar. */
export function hint(context, x, y, isInside) {
  if (isInside) {
    knob(context, x, y, 9, COLOURS.inside);
    return;
  }
  for (const [colour, width] of [[CASING, 7], [COLOURS.outside, 3.5]]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    context.arc(x, y, 9, 0, 2 * Math.PI);
    context.moveTo(x - 6.5, y + 6.5);
    context.lineTo(x + 6.5, y - 6.5);
    context.stroke();
  }
}

/** Where a ring's name is written: its centroid. */
function middle(ring) {
  let x = 0, y = 0, area = 0;
  for (let i = 0; i < ring.length; i += 2) {
    const j = (i + 2) % ring.length;
    const cross = ring[i] * ring[j + 1] - ring[j] * ring[i + 1];
    area += cross;
    x += (ring[i] + ring[j]) * cross;
    y += (ring[i + 1] + ring[j + 1]) * cross;
  }
  return [x / (3 * area), y / (3 * area)];
}

function arrow(context, frame, back, handles) {
  const { curve } = back;
  line(context, frame, curve, COLOURS.back, 2.5);
  const n = curve.length;
  const from = [frame.x(curve[Math.max(n - 8, 0)]), frame.y(curve[Math.max(n - 7, 1)])];
  const tip = [frame.x(curve[n - 2]), frame.y(curve[n - 1])];
  const angle = Math.atan2(tip[1] - from[1], tip[0] - from[0]);
  context.beginPath();
  context.moveTo(...tip);
  for (const turn of [2.65, -2.65]) context.lineTo(tip[0] + 18 * Math.cos(angle + turn), tip[1] + 18 * Math.sin(angle + turn));
  context.closePath();
  context.fillStyle = COLOURS.back;
  context.strokeStyle = CASING;
  context.lineWidth = 2;
  context.stroke();
  context.fill();
  const off = 26;
  const name = (text, [x, y], side) => words(context, text, // never cut off by the frame while its end is in sight
    x > 0 && x < frame.width ? Math.min(Math.max(x + side * off * Math.cos(angle), 20), frame.width - 20) : x + side * off * Math.cos(angle),
    y + side * off * Math.sin(angle) + (x > frame.width - 40 || x < 40 ? 20 : 0), COLOURS.back);
  name("neck", tip, 1);
  if (handles) {
    const tail = [frame.x(curve[0]), frame.y(curve[1])];
    knob(context, ...tip, 10, COLOURS.back);
    knob(context, ...tail, 10, COLOURS.back);
    name("tail", tail, -1);
  }
}

/** A piece where it lies: one that breaks a rule is dashed, hatched, and has a "!" before its name. */
function piece(context, frame, { ring, name, broken, chosen, middle, tip, tail }) {
  trace(context, frame, ring, true);
  context.fillStyle = broken ? "rgba(60, 20, 10, 0.38)" : "rgba(201, 182, 255, 0.30)";
  context.fill();
  if (broken) {
    context.save();
    context.clip();
    context.strokeStyle = COLOURS.outside;
    context.lineWidth = 1.5;
    context.beginPath();
    const [x, y] = [frame.x(middle[0]), frame.y(middle[1])], far = 1500;
    for (let k = -far; k < far; k += 11) {
      context.moveTo(x + k - far, y + far);
      context.lineTo(x + k + far, y - far);
    }
    context.stroke();
    context.restore();
  }
  line(context, frame, ring, broken ? COLOURS.outside : COLOURS.piece, chosen ? 4 : 2, { closed: true, dash: broken ? [8, 5] : [] });
  line(context, frame, [...tail, ...tip], COLOURS.piece, 1.2, { dash: [2, 4] });
  const said = [broken ? "!" : "", chosen || fits(context, frame, ring, name) ? name : ""].join(" ").trim();
  words(context, said, frame.x(middle[0]), frame.y(middle[1]), broken ? COLOURS.outside : COLOURS.piece);
}

/** Whether a name is no wider than what it stands on: names across one another help nobody. */
function fits(context, frame, ring, name) {
  let left = Infinity, right = -Infinity;
  for (let i = 0; i < ring.length; i += 2) {
    left = Math.min(left, ring[i]);
    right = Math.max(right, ring[i]);
  }
  context.font = FONT;
  return context.measureText(name).width <= (right - left) / frame.resolution;
}

/** What turns the chosen piece: a knob beyond the end of its grain. */
function turner(context, frame, { middle, tip }) {
  const [x, y] = turnKnob(middle, tip, frame.resolution);
  line(context, frame, [...tip, x, y], COLOURS.turn, 2);
  knob(context, frame.x(x), frame.y(y), 10, COLOURS.turn);
  context.strokeStyle = CASING;
  context.lineWidth = 2;
  context.beginPath();
  context.arc(frame.x(x), frame.y(y), 5, 0.6, 5.4);
  context.stroke();
}

/** The vertices that can be taken hold of, no denser than a thumb can tell apart. */
function knobs(context, frame, ring) {
  const apart = 26;
  let lastX = -1e9, lastY = -1e9;
  for (let i = 0; i < ring.length; i += 2) {
    const x = frame.x(ring[i]), y = frame.y(ring[i + 1]);
    if (Math.hypot(x - lastX, y - lastY) < apart) continue;
    lastX = x;
    lastY = y;
    if (x < -9 || y < -9 || x > frame.width + 9 || y > frame.height + 9) continue;
    knob(context, x, y, 4, COLOURS.rim);
  }
}

/**
 * @param scene what there is: ring, doubtful, zones, marks, back, hints, gauge, drawing, and what is chosen
 */
export function paint(context, frame, scene) {
  const at = ([x, y]) => [frame.x(x), frame.y(y)];
  if (scene.showZones) {
    for (const zone of scene.zones) {
      for (const ring of zone.rings) line(context, frame, ring, COLOURS.zone, 1.2, { closed: true, dash: [7, 5] });
    }
  }
  if (scene.ring) {
    line(context, frame, scene.ring, COLOURS.rim, 2, { closed: true });
    if (!scene.changed) for (const part of scene.doubtful) line(context, frame, part, COLOURS.doubtful, 3, { dash: [9, 6] });
  }
  if (scene.back && scene.back.source !== "none") arrow(context, frame, scene.back, scene.tool === "back");
  scene.marks.forEach((mark, i) => {
    const gone = mark.status === "rejected";
    const colour = gone ? COLOURS.rejected : COLOURS.mark;
    const chosen = scene.chosenMark === i;
    line(context, frame, mark.ring, colour, chosen ? 4 : 2, { closed: true, dash: gone ? [3, 4] : [] });
    let right = -Infinity, top = 0;
    for (let k = 0; k < mark.ring.length; k += 2) if (mark.ring[k] > right) [right, top] = [mark.ring[k], mark.ring[k + 1]];
    words(context, `${numberOf(mark)}`, frame.x(right) + 12, frame.y(top), colour);
  });
  if (scene.showZones) {
    for (const zone of scene.zones) {
      const largest = zone.rings.reduce((a, b) => (a.length > b.length ? a : b));
      words(context, zone.name, ...at(middle(largest)), COLOURS.zone);
    }
  }
  if (scene.tool === "pieces") {
    const chosen = scene.pieces.find((one) => one.chosen);
    for (const one of scene.pieces) if (one !== chosen) piece(context, frame, one);
    if (chosen) {
      piece(context, frame, chosen);
      turner(context, frame, chosen);
    }
  }
  if (scene.tool === "rim" && scene.ring) knobs(context, frame, scene.ring);
  if (scene.chosenPoint !== null && scene.ring) {
    const i = 2 * scene.chosenPoint;
    knob(context, frame.x(scene.ring[i]), frame.y(scene.ring[i + 1]), 8, COLOURS.drawn);
  }
  for (const { photo_px, inside } of scene.hints) hint(context, ...at(photo_px), inside);
  scene.gauge.forEach(({ photo_px, thickness_mm }) => {
    const [x, y] = at(photo_px);
    knob(context, x, y, 7, COLOURS.gauge);
    words(context, typeof thickness_mm === "number" ? thickness(thickness_mm) : "?", x, y - 18, COLOURS.gauge);
  });
  if (scene.drawing.length) line(context, frame, scene.drawing.flat(), COLOURS.drawn, 2.5);
  if (frame.cross) {
    const [x, y] = frame.cross;
    for (const [colour, width] of [[CASING, 5], [frame.held ? COLOURS.drawn : "#ffffff", 2]]) {
      context.strokeStyle = colour;
      context.lineWidth = width;
      context.beginPath();
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
        context.moveTo(x + 5 * dx, y + 5 * dy);
        context.lineTo(x + 22 * dx, y + 22 * dy);
      }
      context.stroke();
    }
  }
}
