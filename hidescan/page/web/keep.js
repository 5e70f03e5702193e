// Keep the map, and take it away in other forms.
import { choice, el } from "./dom.js";
import { units } from "./units.js";
import { vocabulary } from "./vocabulary.js";

/** What can be taken away: each export format, and those that can be spread over sheets of paper once more as such. */
const forms = () => [...OWN, ...vocabulary.exports.flatMap(({ name, label, faces, sheets }) => [
  { form: name, label, faces }, ...(sheets ? [{ form: name, label: `${label}, over many sheets`, faces, sheets }] : [])])];


const OWN = [{ form: "map", label: "Map file" }, { form: "sheet", label: "One-page record (PDF)", sheets: true }];
let mirror = false, paper = "a4";

export const keep = {
  name: "keep",
  label: "Keep",

  panel(app) {
    const { kept, at, view, id } = app.work;
    if (!view?.rim) return el("p", { className: "tell" }, "There is no map to keep yet.");
    const fresh = kept?.at === at;
    const link = ({ form, faces, sheets }) => {
      const asked = new URLSearchParams({ units: units() });
      if (mirror && faces) asked.set("mirror", "1");
      if (sheets) asked.set("paper", paper);
      return `/api/works/${id}/files/${form}?${asked}`;
    };
    return el("div", {},
      el("button", { type: "button", id: "keep", className: "main", disabled: fresh, onclick: () => app.keep() },
        fresh ? `Kept ${kept.revision}` : "Keep this map"),
      el("p", { className: "tell" }, fresh ? "Nothing has changed since." : kept
        ? `Kept ${kept.revision} stays as it is; what you changed since is safe here, but not kept yet.`
        : "What you do is safe on this machine as it is. Keeping it makes a map that stays, whatever you change later."),
      shelf(app),
      el("h2", {}, "Take away"),
      choice("Paper", [["a4", "A4"], ["letter", "Letter"]], paper, (to) => {
        paper = to;
        app.panel();
      }),
      el("button", { type: "button", "aria-pressed": String(mirror), onclick: () => {
        mirror = !mirror;
        app.panel();
      } }, "Mirrored, to cut from the other face"),
      el("ul", { className: "links" }, ...forms().map((one) => el("li", {},
        el("a", { href: link(one), download: "", "data-form": one.sheets && one.faces ? "tiles" : one.form }, one.label)))));
  },

  down: () => false,
  drag() {},
  up() {},
  tap() {},
};

function shelf(app) {
  const label = el("input", { id: "f-label", autocomplete: "off", maxLength: 60, value: app.work.label });
  return el("form", { className: "field", id: "shelf", onsubmit: (event) => {
    event.preventDefault();
    app.shelve(label.value.trim());
  } }, el("h2", {}, "The shelf"), el("label", { for: "f-label" }, "Label of this hide"),
  el("span", { className: "row" }, label, el("button", { type: "submit" }, "Put it there")));
}
