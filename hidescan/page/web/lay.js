// Pieces on the leather: where their outlines are in the photo, and back. Millimetres in the hide frame, y to the neck.
import { mmFromPx, pxFromMm } from "./geometry.js";

/** An outline in the photo: the piece with its grain up, mirrored if it is a right one, turned, moved. */
export function onPhoto(camera, face, ring, { at, turned, mirrored }) {
  const turn = (turned * Math.PI) / 180, c = Math.cos(turn), s = Math.sin(turn), side = mirrored ? -1 : 1;
  const put = (x, y) => pxFromMm(camera, at[0] + c * x * side - s * y, at[1] + s * x * side + c * y, face);
  const seen = [];
  let top = 0, bottom = 0;
  for (let i = 0; i < ring.length; i += 2) {
    seen.push(...put(ring[i], ring[i + 1]));
    top = Math.max(top, ring[i + 1]);
    bottom = Math.min(bottom, ring[i + 1]);
  }
  return { ring: seen, middle: put(0, 0), tip: put(0, top), tail: put(0, bottom) };
}

/** Where a piece goes that is dragged from one place in the photo to another. */
export function moved(camera, face, at, from, to) {
  const [ax, ay] = mmFromPx(camera, ...from, face), [bx, by] = mmFromPx(camera, ...to, face);
  return [at[0] + bx - ax, at[1] + by - ay];
}

/** The turn that points a piece's grain at a place in the photo, to half a degree, -180 to 180. */
export function turnTo(camera, face, at, to) {
  const [x, y] = mmFromPx(camera, ...to, face);
  return Math.round((Math.atan2(at[0] - x, y - at[1]) * 360) / Math.PI) / 2;
}

/** A turn over -180 to 180. */
export const turnBy = (turned, by) => ((((turned + by + 180) % 360) + 360) % 360) - 180;
