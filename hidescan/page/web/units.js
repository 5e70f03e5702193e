// Figures in words, in the units chosen once for every view. 1 ft² = 9.290304 dm², 1 oz = 1/64 in, exactly.
import { choice } from "./dom.js";

const MM2_PER_FT2 = 92903.04;
const OUNCE_MM = 25.4 / 64;

export const units = () => localStorage.getItem("hidescan.units") ?? "ft";

/** The two buttons that choose the units; `changed` redraws what shows figures. */
export function unitsChoice(changed) {
  return choice("Units", [["ft", "ft²"], ["metric", "m²"]], units(), (to) => {
    localStorage.setItem("hidescan.units", to);
    changed();
  });
}

export function area(mm2, u) {
  const per = units() === "ft" ? MM2_PER_FT2 : mm2 < 1e5 ? 100 : 1e6;
  const [name, places] = units() === "ft" ? ["ft²", 2] : per === 100 ? ["cm²", 0] : ["m²", 3];
  if (u === undefined) return `${(mm2 / per).toFixed(places)} ${name}`;
  const plus = u === null ? "?" : Math.max(u / per, 10 ** -places).toFixed(places);
  return `${(mm2 / per).toFixed(places)} ± ${plus} ${name}`;
}

export function small(mm2) {
  return units() === "ft" ? `${(mm2 / 645.16).toFixed(1)} in²` : `${(mm2 / 100).toFixed(1)} cm²`;
}

export function length(mm) {
  return units() === "ft" ? `${(mm / 25.4).toFixed(1)} in` : `${mm.toFixed(0)} mm`;
}

/** A leather's thickness: ounces or millimetres. */
export function thickness(mm, u) {
  const per = units() === "ft" ? OUNCE_MM : 1;
  return `${(mm / per).toFixed(1)}${u === undefined ? "" : ` ± ${(u / per).toFixed(1)}`} ${units() === "ft" ? "oz" : "mm"}`;
}

/** The units that a field offers, those of the units chosen alone. */
export const fieldUnits = (all) => {
  const metric = ["mm", "cm", "m"];
  return all.filter((unit) => metric.includes(unit) === (units() !== "ft"));
};

/** A text with its lengths in mm turned into the units chosen. */
export function inUnits(text) {
  if (units() !== "ft") return text;
  return text.replace(/(\d+(?:\.\d+)?)( ± (\d+(?:\.\d+)?))? mm\b/g, (_, value, __, u) => {
    const mm = Number(value);
    return u !== undefined || mm < 15 ? thickness(mm, u && Number(u)) : length(mm);
  });
}
