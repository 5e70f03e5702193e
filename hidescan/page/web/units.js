// Figures in words. 1 ft2 = 9.290304 dm2 exactly.
const MM2_PER_FT2 = 92903.04;

export const units = () => localStorage.getItem("hidescan.units") ?? "ft";
export const setUnits = (name) => localStorage.setItem("hidescan.units", name);

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
