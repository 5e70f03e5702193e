// What the map says: warnings first, then what the ± is made of, zones.
import { choice, el } from "./dom.js";
import { area, length, setUnits, units } from "./units.js";

// Warnings whose advice is for the command line, said for the page: text and the tool that helps.
const HERE = {
  "scale-unmeasured": ["Nobody measured this print. Measure its two check bars, or a tape between two cards, and say so under Facts.", "facts"],
  "ends-doubtful": ["Neck and tail may be the wrong way round, or no back line can be seen: set it under Back.", "back"],
  "form-doubtful": ["Which part of a hide this is can only just be told: say so under Facts if you know.", "facts"],
  "outline-doubtful": ["Hide and floor are hard to tell apart here. Look at the rim; taps set it right.", "taps"],
};

export const look = {
  name: "look",
  label: "Look",

  panel(app) {
    const { view } = app.work;
    if (!view?.rim) return problem(app, view?.problem);
    const { figures, budget, zones, warnings } = view;
    return el("div", {},
      ...warnings.map(({ code, message }) => {
        const [text, tool] = HERE[code] ?? [message];
        return el("div", { className: "warning", "data-code": code }, el("p", {}, text),
          tool ? el("button", { type: "button", onclick: () => app.choose(tool) }, "Go there") : null);
      }),
      el("div", { className: "row" },
        el("button", { type: "button", id: "zones", "aria-pressed": String(app.scene.showZones), onclick: () => {
          app.scene.showZones = !app.scene.showZones;
          app.chart.redraw();
          app.panel();
        } }, "Zones"),
        el("button", { type: "button", id: "more-photos", onclick: () => app.choose("photos") }, "More photos"),
        choice("Units", [["ft", "ft"], ["metric", "metric"]], units(), (to) => {
          setUnits(to);
          app.live();
          app.panel();
        })),
      el("dl", {},
        ...[["Form", view.form.name], ["With holes", area(figures.area_gross.value, figures.area_gross.u)],
          ["Length", length(figures.length.value)], ["Width", length(figures.width.value)],
          ["Round the rim", length(figures.perimeter.value)]]
          .flatMap(([name, value]) => [el("dt", {}, name), el("dd", {}, value)])),
      app.scene.showZones
        ? el("ul", { className: "plain" }, ...zones.map((z) => el("li", {},
          `${z.name}: ${area(z.area_mm2)}, ${z.thickness_mm.toFixed(1)} ± ${(2 * z.thickness_u_mm).toFixed(1)} mm thick`)),
        el("li", {}, `Thickness: ${view.thickness_source}`))
        : null,
      el("h2", {}, "What the ± is made of"),
      el("ul", { className: "plain" }, ...[...budget].sort((a, b) => b[1] - a[1]).slice(0, 5)
        .map(([source, percent]) => el("li", {}, `${source}: ${(2 * percent).toFixed(2)} %`))));
  },

  down: () => false,
  drag() {},
  up() {},
  tap() {},
};

function problem(app, found) {
  if (!found) return el("p", { className: "tell" }, app.work.refused ?? "The map is being made.");
  const taps = ["no-hide", "several-hides"].includes(found.code);
  return el("div", {},
    el("p", { className: "warning" }, `${found.reason} ${taps ? "" : found.advice}`),
    found.code === "cut-by-frame"
      ? el("button", { type: "button", id: "more-photos", onclick: () => app.choose("photos") }, "Or add photos of the rest")
      : null,
    taps
      ? el("div", { className: "row" },
        el("button", { type: "button", onclick: () => app.choose("taps") }, "Tap the hide"),
        el("button", { type: "button", onclick: () => app.choose("rim") }, "Trace its rim"))
      : null);
}
