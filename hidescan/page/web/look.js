// What the map says: doubts first, each with the way to settle it, then what the ± is made of, zones.
import { el } from "./dom.js";
import { DOUBTS, PROBLEMS, SOURCES, TOOL_NAMES, WAYS, plainly } from "./problems.js";
import { CAPTIONS, picture } from "./signs.js";
import { area, length, thickness, unitsChoice } from "./units.js";

export const look = {
  name: "look",
  label: "Look",

  panel(app) {
    const { view } = app.work;
    if (!view?.rim) return problem(app, view?.problem);
    const { figures, budget, zones, warnings } = view;
    return el("div", {},
      ...warnings.map(({ code, message }) => {
        const { text, tool } = DOUBTS[code] ?? {};
        return el("div", { className: "warning", "data-code": code }, el("p", {}, text ?? plainly(message)),
          tool ? el("button", { type: "button", onclick: () => app.choose(tool) }, TOOL_NAMES[tool]) : null);
      }),
      el("div", { className: "row" },
        el("button", { type: "button", id: "zones", "aria-pressed": String(app.scene.showZones), onclick: () => {
          app.scene.showZones = !app.scene.showZones;
          app.chart.redraw();
          app.panel();
        } }, "Zones"),
        el("button", { type: "button", id: "more-photos", onclick: () => app.choose("photos") }, "More photos"),
        unitsChoice(() => {
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
          `${z.name}: ${area(z.area_mm2)}, ${thickness(z.thickness_mm, 2 * z.thickness_u_mm)} thick`)),
        el("li", {}, `Thickness: ${view.thickness_source}`))
        : null,
      el("h2", {}, "What the ± is made of"),
      el("ul", { className: "plain" }, ...[...budget].sort((a, b) => b[1] - a[1]).slice(0, 5)
        .map(([source, percent]) => el("li", {}, `${SOURCES[source] ?? source}: ${(2 * percent).toFixed(2)} %`))));
  },

  down: () => false,
  drag() {},
  up() {},
  tap() {},
};

/** Why there is no map: in words, with a picture where one helps, and the ways on. */
export function problem(app, found) {
  if (!found) return el("p", { className: "tell" }, app.work.refused ? plainly(app.work.refused) : "The map is being made.");
  const { text, picture: drawn, ways = ["again"] } = PROBLEMS[found.code] ?? {};
  const go = { cards: () => (location.hash = "cards"), again: () => (location.hash = "") };
  return el("div", { className: "problem", "data-code": found.code },
    el("p", { className: "warning" }, text ?? plainly(`${found.reason} ${found.advice}`)),
    el("div", { className: "row" }, ...ways.filter((way) => way !== app.tool.name).map((way) =>
      el("button", { type: "button", "data-way": way, id: way === "photos" ? "more-photos" : "", onclick: go[way] ?? (() => app.choose(way)) }, WAYS[way]))),
    drawn ? el("figure", {}, picture(drawn), el("figcaption", {}, CAPTIONS[drawn])) : null);
}
