// What only a person knows: leather, gauge readings, tapes between cards, the print.
import { choice, el, field, select } from "./dom.js";

const SPECIES = ["deer", "elk", "goat", "sheep", "calf", "cattle", "pig", "bison"];
const STATES = ["fresh", "salted", "wet", "dried slack", "dried on a frame"];
const TANNAGES = ["brain-tanned smoked", "brain-tanned", "vegetable", "chrome", "alum", "rawhide"];
const FORMS = ["whole", "side", "bend", "shoulder", "belly", "piece"];
let gaugeAt = null;

const none = [["", "not said"]];
const named = (list) => [...none, ...list.map((name) => [name, name])];

/** A number with its unit as a person writes it; empty takes it back. */
function measure(app, label, units, give, hint, start = "") {
  const number = el("input", { type: "text", inputMode: "decimal", autocomplete: "off", value: start });
  const unit = select(units.map((u) => [u, u]), units[0], () => {});
  unit.setAttribute("aria-label", `unit of ${label}`);
  number.id = `f-${label.toLowerCase().replace(/[^a-z]+/g, "-")}`;
  const done = () => give(number.value.trim() ? `${number.value.trim().replace(",", ".")}${unit.value}` : null);
  return el("form", { className: "field", onsubmit: (event) => {
    event.preventDefault();
    done();
  } }, el("label", { for: number.id }, label), el("span", { className: "row" }, number, unit, el("button", { type: "submit" }, "Set")),
  hint && el("small", {}, hint));
}

function open(list, id, value, set) {
  return [el("input", { id, value: value ?? "", autocomplete: "off", list: `${id}-list`,
    onchange: (event) => set(event.target.value.trim() || null) }), el("datalist", { id: `${id}-list` }, ...list.map((v) => el("option", { value: v })))];
}

export const facts = {
  name: "facts",
  label: "Facts",

  panel(app) {
    const g = app.given;
    const set = (what, fields) => app.give({ what, set: fields });
    const numbers = (app.work.view?.cards ?? []).map((card) => card.number);
    const state = open(STATES, "f-state", g.state, (state) => set("state", { state }));
    const tannage = open(TANNAGES, "f-tannage", g.tannage, (tannage) => set("tannage", { tannage }));
    return el("div", {},
      el("h2", {}, "The leather"),
      measure(app, "Thickness", ["mm", "oz", "in"], (t) => set("thickness", { thickness_mm: t }),
        g.thickness_mm === null ? "2 ± 1 mm is taken until you say." : `Given: ${g.thickness_mm.toFixed(2)} mm.`),
      field("Species", select(named(SPECIES), g.species ?? "", (v) => set("species", { species: v || null }))),
      el("p", { className: "field" }, el("label", { for: "f-tannage" }, "Tannage"), ...tannage),
      el("p", { className: "field" }, el("label", { for: "f-state" }, "State"), ...state),
      field("Form", select([["", app.work.view?.form ? `as seen: ${app.work.view.form.name}` : "as seen"], ...FORMS.map((f) => [f, f])],
        g.form ?? "", (v) => set("form", { form: v || null }))),
      el("p", { className: "label" }, "Face up"),
      choice("Face up", [["grain", "Grain"], ["flesh", "Flesh"], ["unknown", "Not said"]], g.face, (face) => set("face", { face })),

      el("h2", {}, "Thickness gauge"),
      gaugeAt
        ? measure(app, "Reading at the yellow point", ["mm", "oz", "in"], (t) => {
          const at = gaugeAt;
          gaugeAt = null;
          app.scene.gauge = g.gauge;
          if (t) app.give({ what: "gauge reading", add: { gauge: [{ photo_px: at, thickness_mm: t }] } });
          else app.panel();
        })
        : el("p", { className: "tell" }, "Tap the place in the photo where you measured."),
      el("ul", { className: "plain" }, ...g.gauge.map((reading, i) => el("li", { className: "row" },
        `${reading.thickness_mm.toFixed(2)} mm`,
        el("button", { type: "button", "aria-label": `Take reading ${i + 1} away`,
          onclick: () => set("reading taken away", { gauge: g.gauge.filter((_, k) => k !== i) }) }, "Take away")))),

      el("h2", {}, "The print and its scale"),
      el("p", { className: "tell" }, `Cards seen: ${numbers.join(", ") || "none"}.`),
      bars(app, g, set),
      numbers.length > 1 ? tape(app, numbers) : null,
      el("ul", { className: "plain" }, ...g.tapes.map((t, i) => el("li", { className: "row" },
        `Cards ${t.first} to ${t.second}: ${t.distance_mm.toFixed(0)} mm`,
        el("button", { type: "button", "aria-label": `Take tape ${i + 1} away`,
          onclick: () => set("tape taken away", { tapes: g.tapes.filter((_, k) => k !== i) }) }, "Take away")))));
  },

  down: () => false,
  drag() {},
  up() {},

  tap(app, at) {
    gaugeAt = at.map((v) => Math.round(v * 10) / 10);
    app.scene.gauge = [...app.given.gauge, { photo_px: gaugeAt, thickness_mm: "?" }];
    app.chart.redraw();
    app.panel();
    document.getElementById("f-reading-at-the-yellow-point")?.focus();
  },

  leave(app) {
    gaugeAt = null;
    app.scene.gauge = app.given.gauge;
  },
};

function bars(app, g, set) {
  const across = el("input", { type: "text", inputMode: "decimal", id: "f-across", autocomplete: "off",
    value: g.card_scale ? (150 * g.card_scale[0]).toFixed(1) : "" });
  const along = el("input", { type: "text", inputMode: "decimal", id: "f-along", autocomplete: "off",
    value: g.card_scale ? (200 * g.card_scale[1]).toFixed(1) : "" });
  const number = (input) => Number(input.value.trim().replace(",", "."));
  return el("form", { className: "field", onsubmit: (event) => {
    event.preventDefault();
    if (!across.value.trim() && !along.value.trim()) return set("print not measured", { card_scale: null });
    const scale = [number(across) / 150, number(along) / 200];
    if (!scale.every((s) => s > 0.9 && s < 1.1)) return app.say("The bars are about 150 and 200 mm. Measure between the middles of their ticks.");
    set("print measured", { card_scale: scale });
  } },
  el("label", { for: "f-across" }, "The card's check bars as measured, mm"),
  el("span", { className: "row" }, across, el("label", { for: "f-along", className: "unseen" }, "bar along, mm"), along,
    el("button", { type: "submit" }, "Set")),
  el("small", {}, "First the one across (150), then the one along (200)."));
}

function tape(app, numbers) {
  let [first, second] = numbers;
  const pick = (label, value, change) => {
    const made = select(numbers.map((n) => [String(n), `card ${n}`]), String(value), (v) => change(Number(v)));
    made.setAttribute("aria-label", label);
    return made;
  };
  return el("div", {},
    el("p", { className: "label" }, "Tape from ring to ring"),
    el("div", { className: "row" }, pick("tape from", first, (n) => (first = n)), pick("tape to", second, (n) => (second = n))),
    measure(app, "Taped distance", ["mm", "cm", "in"], (d) => {
      if (first === second) app.say("A tape goes from one card to another.");
      else if (d) app.give({ what: "tape", add: { tapes: [{ first, second, distance_mm: d }] } });
    }));
}
