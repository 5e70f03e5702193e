// Keep the map, and take it away in other forms.
import { choice, el } from "./dom.js";
import { units } from "./units.js";

const FORMS = [["map", "The map (JSON)"], ["sheet", "One-page record (PDF)"], ["pdf", "True-size outline (PDF)"], ["svg", "Outline (SVG)"],
  ["dxf", "Outline (DXF)"], ["geojson", "Outline (GeoJSON)"], ["csv", "Figures and marks (CSV)"], ["png", "Picture from above (PNG)"]];
let mirror = false, paper = "a4";

export const keep = {
  name: "keep",
  label: "Keep",

  panel(app) {
    const { kept, at, view, id } = app.work;
    if (!view?.rim) return el("p", { className: "tell" }, "There is no map to keep yet.");
    const fresh = kept?.at === at;
    const link = (form) => {
      const asked = new URLSearchParams({ units: units() });
      if (mirror && !["map", "sheet", "csv"].includes(form)) asked.set("mirror", "1");
      if (form === "sheet" || form === "tiles") asked.set("paper", paper);
      return `/api/works/${id}/files/${form === "tiles" ? "pdf" : form}?${asked}`;
    };
    return el("div", {},
      el("button", { type: "button", id: "keep", className: "main", disabled: fresh, onclick: () => app.keep() },
        fresh ? `Kept as revision ${kept.revision}` : "Keep this map"),
      el("p", { className: "tell" }, fresh ? "Nothing has changed since." : kept
        ? `Revision ${kept.revision} is kept; what you changed since is safe here, but not in a revision yet.`
        : "What you do is safe on this machine as it is. Keeping makes a revision of the map that stays."),
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
      el("ul", { className: "links" }, ...[...FORMS.slice(0, 3), ["tiles", "True size over many sheets (PDF)"], ...FORMS.slice(3)]
        .map(([form, text]) => el("li", {}, el("a", { href: link(form), download: "", "data-form": form }, text)))));
  },

  down: () => false,
  drag() {},
  up() {},
  tap() {},
};

function shelf(app) {
  const label = el("input", { id: "f-label", autocomplete: "off", maxLength: 60, value: app.work.file.replace(/\.[^.]*$/, "") });
  return el("form", { className: "field", id: "shelf", onsubmit: (event) => {
    event.preventDefault();
    app.shelve(label.value.trim());
  } }, el("h2", {}, "The shelf"), el("label", { for: "f-label" }, "Label of this hide"),
  el("span", { className: "row" }, label, el("button", { type: "submit" }, "Put it there")));
}
