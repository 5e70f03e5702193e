// Signs beside words, and the small pictures of how to photograph a hide. All are drawn here.
const NS = "http://www.w3.org/2000/svg";

function svg(box, className, parts) {
  const made = document.createElementNS(NS, "svg");
  made.setAttribute("viewBox", box);
  made.setAttribute("class", className);
  made.setAttribute("aria-hidden", "true");
  for (const [tag, attributes] of parts) {
    const part = document.createElementNS(NS, tag);
    for (const [name, value] of Object.entries(attributes)) part.setAttribute(name, value);
    made.append(part);
  }
  return made;
}

const SIGNS = {
  look: "M2 12c5-8 15-8 20 0-5 8-15 8-20 0zM12 8.5a3.5 3.5 0 1 0 0 7 3.5 3.5 0 0 0 0-7z",
  correct: "M4 20l1-5L16 4l4 4L9 19zM13.5 6.5l4 4",
  facts: "M3 5h18v14H3zM7 9h10M7 12.5h10M7 16h6",
  pieces: "M4 4h9v7H4zM15 13c4-1 6 2 5 7h-9c0-4 1-6 4-7z",
  keep: "M5 3h14v18l-7-5-7 5z",
  bin: "M4 7h16M9 7V4h6v3M6.5 7l1 13h9l1-13",
  pencil: "M4 20l1-5L16 4l4 4L9 19z",
};

/** A sign of 24 by 24 in the colour of the words beside it. */
export const sign = (name) => svg("0 0 24 24", "sign", [["path", { d: SIGNS[name] }]]);

const HIDE = "M60 14c5 0 6 5 12 6 9-4 17 0 20 7-5 6-7 11-6 18 2 10 8 16 5 23-8 2-12-4-19-2-4 3-8 8-12 10-4-2-8-7-12-10-7-2-11 4-19 2-3-7 3-13 5-23 1-7-1-12-6-18 3-7 11-11 20-7 6-1 7-6 12-6z";

/** A card's pattern, some squares of it, at a place. */
function card(x, y, turned = 0) {
  const dark = [];
  for (let row = 0; row < 5; row++) {
    for (let column = row % 2; column < 4; column += 2) {
      dark.push(["rect", { x: x + 2 + 3 * column, y: y + 2 + 3 * row, width: 3, height: 3, class: "dark",
        transform: `rotate(${turned} ${x + 8} ${y + 9.5})` }]);
    }
  }
  return [["rect", { x, y, width: 16, height: 19, class: "paper", transform: `rotate(${turned} ${x + 8} ${y + 9.5})` }], ...dark];
}

const FRAME = ["rect", { x: 3, y: 3, width: 114, height: 84, rx: 3, class: "frame" }];
const CROSS = (x, y) => ["path", { d: `M${x - 6} ${y - 6}l12 12m0-12l-12 12`, class: "wrong" }];

const PICTURES = {
  lay: [["rect", { x: 3, y: 62, width: 114, height: 25, class: "floor" }], ["path", { d: "M16 74c20-4 70-4 90 0", class: "leather-edge" }],
    ["rect", { x: 52, y: 10, width: 16, height: 6, rx: 2, class: "paper" }], ["path", { d: "M56 17L18 70M64 17l40 53", class: "ray" }],
    ["circle", { cx: 60, cy: 17, r: 1.6, class: "dark" }]],
  cards: [FRAME, ["path", { d: HIDE, class: "leather" }], ...card(9, 8), ...card(95, 62)],
  spoils: [FRAME, ["path", { d: HIDE, class: "leather", transform: "translate(-34 0)", "clip-path": "inset(0 0 0 14px)" }],
    ["path", { d: "M84 16h18v12c0 6-5 8-9 7l-9-2z", class: "paper" }], ["path", { d: "M93 35c-2-5 2-8 9-7", class: "curl" }], CROSS(12, 45), CROSS(93, 52),
    ["path", { d: "M70 58h40v24H70z", class: "shade" }], CROSS(90, 72)],
};

/** One of the pictures: "lay", "cards" or "spoils". */
export const picture = (name) => svg("0 0 120 90", "how", PICTURES[name]);

export const CAPTIONS = {
  lay: "Lay it flat. Hold the camera high, straight above, with all of the hide in the picture.",
  cards: "Put two printed cards on the floor at opposite corners, close to the hide.",
  spoils: "Spoilt: a rim outside the picture, a card that curls, a hard shadow.",
};
