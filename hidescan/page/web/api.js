// Requests to the program. Edits wait in this browser's own store until the program has them on its disk.
import { plainly } from "./problems.js";

export class Refused extends Error {
  constructor(status, text) {
    super(text);
    this.status = status;
  }
}

async function ask(path, options = {}) {
  const answer = await fetch(path, options);
  if (answer.ok) return answer.status === 204 ? null : answer.json();
  const text = answer.status === 401
    ? "This page was opened by an earlier run. Open the address that hidescan shows now; nothing is lost."
    : plainly((await answer.json().catch(() => ({}))).refused ?? `It did not work (${answer.status}).`);
  throw new Refused(answer.status, text);
}

const post = (path, body) =>
  ask(path, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) });

export const vocabulary = () => ask("/api/vocabulary");
export const list = () => ask("/api/works");
export const load = (id) => ask(`/api/works/${id}`);
export const step = (id, word, base) => post(`/api/works/${id}/${word}`, { base });
export const keep = (id) => post(`/api/works/${id}/keep`, {});
export const shelve = (id, label) => post(`/api/works/${id}/shelf`, { label });
export const pieces = (id) => ask(`/api/works/${id}/pieces`);
export const loadPieces = (id, said) => post(`/api/works/${id}/pieces/load`, said);
export const checkPiece = (id, spot) => post(`/api/works/${id}/pieces/check`, spot);
export const layPieces = (id, spots, base) => post(`/api/works/${id}/pieces/lay`, { spots, base });
export const placeRest = (id, base) => post(`/api/works/${id}/pieces/rest`, { base });
export const photos = (id) => ask(`/api/works/${id}/more`);
export const addPhoto = (id, file) => ask(`/api/works/${id}/more?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file });
export const removePhoto = (id, photo) => ask(`/api/works/${id}/more/${photo}`, { method: "DELETE" });
export const note = (id, lines) => post(`/api/works/${id}/notes`, lines);
export const bringBack = (id) => post(`/api/works/${id}/back`, {});
export const trySample = () => post("/api/works/sample", {}).then(({ id }) => id);
export const cards = () => ask("/api/cards");
export const measureCards = (numbers, across, along) => post("/api/cards", { numbers, across, along });
export const remove = (id) => ask(`/api/works/${id}`, { method: "DELETE" });

/** A file that the program makes, under the name that it gives it. */
export async function file(path) {
  const answer = await fetch(path);
  if (!answer.ok) throw new Refused(answer.status, (await answer.json().catch(() => ({}))).refused ?? "It could not be made.");
  const name = decodeURIComponent(answer.headers.get("content-disposition")?.match(/filename\*=UTF-8''(.+)$/)?.[1] ?? "hides.pdf");
  return new File([await answer.blob()], name, { type: "application/pdf" });
}

/** Send a photo; `told` hears the share sent, 0 to 1. */
export function upload(file, told) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("POST", `/api/works?name=${encodeURIComponent(file.name)}`);
    request.upload.onprogress = (event) => told(event.loaded / event.total);
    request.onerror = () => reject(new Error("hidescan does not answer."));
    request.onload = () => {
      let plain = {};
      try {
        plain = JSON.parse(request.responseText);
      } catch { /* a plain text answer */ }
      if (request.status === 201) resolve(plain.id);
      else reject(new Refused(request.status, plainly(plain.refused ?? request.responseText)));
    };
    request.send(file);
  });
}

const store = (id) => `hidescan.waiting.${id}`;
export const waiting = (id) => JSON.parse(localStorage.getItem(store(id)) ?? "[]");

function setWaiting(id, edits) {
  if (edits.length) localStorage.setItem(store(id), JSON.stringify(edits));
  else localStorage.removeItem(store(id));
}

/** Put an edit in the queue of a work. */
export function queue(id, edit) {
  setWaiting(id, [...waiting(id), { ...edit, key: crypto.getRandomValues(new Uint32Array(3)).join("-") }]);
}

/** Send the queue's edits one after another; `base` is where the work stands. Gives the last answer, or null. */
export async function flush(id, base) {
  let answer = null;
  while (waiting(id).length) {
    const [edit] = waiting(id);
    try {
      answer = await post(`/api/works/${id}/edits`, { ...edit, base: answer?.at ?? base });
    } catch (error) {
      if (error instanceof Refused && error.status !== 401) setWaiting(id, waiting(id).slice(1));
      throw error;
    }
    setWaiting(id, waiting(id).filter((other) => other.key !== edit.key));
  }
  return answer;
}
