// What only a person knows: leather, gauge readings, tapes between cards, the print.
import * as api from "./api.js";
import { choice, el, select } from "./dom.js";
import { fieldUnits, inUnits, length, thickness, units as chosenUnits } from "./units.js";
import { vocabulary } from "./vocabulary.js";

let gaugeAt = null;

const OWN_WORDS = " "; // as an option's value: no name of the program's is a blank

/** A number with its unit as a person writes it; empty takes it back. */
function measure(app, label, units, give, hint, start = "") {
  const number = el("input", { type: "text", inputMode: "decimal", autocomplete: "off", value: start });
  const offered = fieldUnits(units);
  const unit = select(offered.map((u) => [u, u]), offered[0], () => {});
  unit.setAttribute("aria-label", `unit of ${label}`);
  number.id = `f-${label.toLowerCase().replace(/[^a-z]+/g, "-")}`;
  const done = () => give(number.value.trim() ? `${number.value.trim().replace(",", ".")}${unit.value}` : null);
  return el("form", { className: "field", onsubmit: (event) => {
    event.preventDefault();
    done();
  } }, el("label", { for: number.id }, label), el("span", { className: "row" }, number, unit, el("button", { type: "submit" }, "Set")),
  hint && el("small", {}, hint));
}

const capital = (text) => text[0].toUpperCase() + text.slice(1);

/** The form field of a fact, as the program describes it. */
function factField(app, fact, set) {
  const { name, label, options, other, units, unset, start, hints } = fact, value = app.given[name];
  const give = (to) => set(label.toLowerCase(), { [name]: to });
  if (units.length) {
    return measure(app, label, units, give, value === null ? inUnits(unset) : `Given: ${thickness(value)}.`);
  }
  const id = `f-${name}`;
  const labelled = (...inputs) => el("p", { className: "field" }, el("label", { for: id }, label), ...inputs);
  const text = (key, properties) => el("input", { type: "text", autocomplete: "off", maxLength: 200, ...properties, onchange: (event) => {
    const to = event.target.value.trim();
    set(label.toLowerCase(), to ? { [key]: to } : { [name]: null });
  } });
  if (!options) return labelled(text(name, { id, value: value ?? "" }));
  if (start !== null) return el("div", {}, el("p", { className: "label" }, label), choice(label, options.map(([to, shown]) => [to, capital(shown)]), value, give));
  const own = value !== null && !options.some(([known]) => known === value);
  const found = app.work.view?.[name]?.name;
  const offered = [["", found ? `as seen: ${found}` : "not stated"], ...options, ...(other ? [[OWN_WORDS, "in your own words ..."]] : [])];
  const input = other && text(other, { id: `${id}-own`, value: own ? value : "", hidden: !own, "aria-label": `${label} in your own words` });
  const chosen = select(offered, own ? OWN_WORDS : value ?? "", (to) => {
    if (to !== OWN_WORDS) return give(to || null);
    input.hidden = false;
    input.focus();
  });
  chosen.id = id;
  return labelled(chosen, input, hints[value] && el("small", {}, hints[value]));
}

export const facts = {
  name: "facts",
  label: "Facts",

  panel(app) {
    const g = app.given;
    const set = (what, fields) => app.give({ what, set: fields });
    const numbers = (app.work.view?.cards ?? []).map((card) => card.number);
    return el("div", {},
      el("h2", {}, "The leather"),
      ...vocabulary.facts.map((fact) => factField(app, fact, set)),

      ...offer(app),

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
        thickness(reading.thickness_mm),
        el("button", { type: "button", "aria-label": `Take reading ${i + 1} away`,
          onclick: () => set("reading taken away", { gauge: g.gauge.filter((_, k) => k !== i) }) }, "Take away")))),

      el("h2", {}, "The print and its scale"),
      el("p", { className: "tell" }, `Cards seen: ${numbers.join(", ") || "none"}.`),
      bars(app, g, set),
      numbers.length > 1 ? tape(app, numbers) : null,
      el("ul", { className: "plain" }, ...g.tapes.map((t, i) => el("li", { className: "row" },
        `Cards ${t.first} to ${t.second}: ${length(t.distance_mm)}`,
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
  const per = chosenUnits() === "ft" ? 25.4 : 1, unit = per === 1 ? "mm" : "in", places = per === 1 ? 1 : 3;
  const shown = (scale, mm) => (scale ? ((mm * scale) / per).toFixed(places) : "");
  const across = el("input", { type: "text", inputMode: "decimal", id: "f-across", autocomplete: "off", value: shown(g.card_scale?.[0], 150) });
  const along = el("input", { type: "text", inputMode: "decimal", id: "f-along", autocomplete: "off", value: shown(g.card_scale?.[1], 200) });
  const number = (input) => Number(input.value.trim().replace(",", ".")) * per;
  const true_ = (mm) => (mm / per).toFixed(per === 1 ? 0 : 2);
  return el("form", { className: "field", onsubmit: (event) => {
    event.preventDefault();
    if (!across.value.trim() && !along.value.trim()) return set("print not measured", { card_scale: null });
    const scale = [number(across) / 150, number(along) / 200];
    if (!scale.every((s) => s > 0.9 && s < 1.1)) return app.say(`The bars are about ${true_(150)} and ${true_(200)} ${unit}. Measure between the middles of their ticks.`);
    set("print measured", { card_scale: scale });
  } },
  el("label", { for: "f-across" }, `The card's check bars as measured, ${unit}`),
  el("span", { className: "row" }, across, el("label", { for: "f-along", className: "unseen" }, `bar along, ${unit}`), along,
    el("button", { type: "submit" }, "Set")),
  el("small", {}, `First the one across (${true_(150)}), then the one along (${true_(200)}). For this photo only; for every photo with these cards, see Cards to print.`));
}

/** What the seller asks and wrote; none of it changes the map. */
function offer(app) {
  const { notes } = app.work;
  const line = (name, label, hint) => el("p", { className: "field" }, el("label", { for: `f-${name}` }, label),
    el("input", { id: `f-${name}`, type: "text", autocomplete: "off", maxLength: 60, value: notes[name], onchange: async (event) => {
      const work = await app.wait("keeping it", () => api.note(app.work.id, { [name]: event.target.value }));
      if (work) app.work.notes = work.notes;
      else event.target.value = notes[name];
    } }), el("small", {}, hint));
  const foot = chosenUnits() === "ft" ? "9.50 EUR/ft2" : "100 EUR/m2";
  return [el("h2", {}, "At the dealer"), line("price", "Price", `Of the whole hide, 120 EUR, or of a measure of it, ${foot}.`),
    line("marked", "Area marked on it", "As the seller wrote it: 11 2/4 for eleven feet and two quarters, or 107dm2."), line("seller", "Seller", "")];
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
