// Several photos of one hide: add them, see what they show so far and which view is missing, take the joined map.
import * as api from "./api.js";
import { el } from "./dom.js";
import { area } from "./units.js";

let told = null; // the program's last answer, with the work that it belongs to

async function ask(app, stage, request) {
  const { id, at } = app.work;
  const answer = await app.wait(stage, () => request(id));
  if (answer && app.work?.id === id) told = { ...answer, work: id, mapped: at };
  if (app.work?.id === id && app.tool === photos) app.panel();
  document.body.dataset.photos = told?.work === id ? String(told.photos.length) : "";
}

function picker(app, id, text, more) {
  const input = el("input", { type: "file", id, accept: "image/*,.heic,.heif", ...more, onchange: async (event) => {
    const files = [...event.target.files];
    event.target.value = "";
    for (const file of files) await ask(app, `adding ${file.name}`, (work) => api.addPhoto(work, file));
  } });
  return el("label", { className: "button" }, input, el("span", {}, text));
}

export const photos = {
  name: "photos",
  label: "Photos",
  fromLook: true, // reached from Look, not from the row of tools

  changed(app) {
    app.say(""); // that one photo cuts the hide is why others are added
    if (app.work && (told?.work !== app.work.id || told.mapped !== app.work.at)) ask(app, "looking at the photos", api.photos);
  },

  panel(app) {
    const there = told?.work === app.work.id ? told : null;
    return el("div", {},
      el("button", { type: "button", onclick: () => app.choose("look") }, "Back"),
      el("p", { className: "tell" }, "Several photos of this hide, hide and cards left where they lie: each with a card that another one shows, together all of the rim."),
      ...(there?.refused ?? []).map((text) => el("p", { className: "warning", role: "alert" }, text)),
      ...(there?.missing ?? []).map((text) => el("p", { className: "warning missing", role: "status" }, text)),
      there?.picture ? el("img", { className: "plan", src: `data:image/svg+xml,${encodeURIComponent(there.picture)}`,
        alt: `Plan of the hide: ${there.missing.length ? "red is the rim that no photo shows" : "all of its rim is seen"}; dashed are the photos' frames` }) : null,
      there?.figures ? el("p", { id: "joined" }, `All of the rim is seen. Area from ${there.photos.length} photos: ${area(there.figures.value, there.figures.u)}`) : null,
      ...(there?.warnings ?? []).map((text) => el("p", { className: "warning" }, text)),
      there?.figures ? el("p", { className: "links" }, el("a", { href: `/api/works/${app.work.id}/more/map`, download: "" }, "The joined map file")) : null,
      el("ul", { className: "plain" }, ...(there?.photos ?? []).map((photo) => el("li", {}, photo.file, " ",
        photo.id ? el("button", { type: "button", "aria-label": `Take ${photo.file} away`,
          onclick: () => ask(app, "joining", (work) => api.removePhoto(work, photo.id)) }, "Take away") : null))),
      el("div", { className: "take" }, picker(app, "more-camera", "Take one more", { capture: "environment" }),
        picker(app, "more-files", "Choose more", { multiple: true })));
  },

  down: () => false,
  drag() {},
  up() {},
  tap() {},
};
