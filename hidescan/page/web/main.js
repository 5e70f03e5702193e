// The page: which hide is on the table, which tool is in hand, and the way of an edit to the program and back.
import * as api from "./api.js";
import { back } from "./back.js";
import { Chart } from "./chart.js";
import { showCards } from "./cards.js";
import { showComparison } from "./compare.js";
import { el } from "./dom.js";
import { facts } from "./facts.js";
import { mmPerPx, sizes } from "./geometry.js";
import { keep } from "./keep.js";
import { look } from "./look.js";
import { marks } from "./marks.js";
import { paint } from "./paint.js";
import { photos } from "./photos.js";
import { pieces } from "./pieces.js";
import { PROBLEMS, plainly } from "./problems.js";
import { rim } from "./rim.js";
import { sign } from "./signs.js";
import { taps } from "./taps.js";
import { area, length, units } from "./units.js";
import { loadVocabulary } from "./vocabulary.js";
import { refresh, startWall } from "./wall.js";

// Five groups, each with a sign and a word; what a group holds beside its first is chosen in the panel.
const GROUPS = [["look", "Look", [look, photos]], ["correct", "Correct", [rim, taps, back, marks]], ["facts", "Facts", [facts]],
  ["pieces", "Pieces", [pieces]], ["keep", "Keep", [keep]]];
const TOOLS = GROUPS.flatMap(([, , tools]) => tools);
const groupOf = (tool) => GROUPS.find(([, , tools]) => tools.includes(tool));
const lastOf = new Map(); // the tool that was in hand last in a group
const at = (id) => document.getElementById(id);
const EMPTY = { ring: null, doubtful: [], zones: [], marks: [], back: null, hints: [], gauge: [], drawing: [], changed: false,
  showZones: false, pieces: [],
  chosenMark: null, chosenPoint: null, tool: "look" };

const app = {
  work: null,
  given: null,
  scene: { ...EMPTY },
  tool: look,
  busy: false,

  /** Show a line of words to the person, for eyes and ears; `deed` is a button beside it: its text and what it does. */
  say(text, good = false, deed = null) {
    at("told").replaceChildren(text, deed ? el("button", { type: "button", onclick: deed[1] }, deed[0]) : "");
    at("told").className = good ? "good" : "";
    at("told").hidden = !text;
  },

  panel() {
    const tools = groupOf(app.tool)[2].filter((tool) => !tool.fromLook);
    const row = tools.length > 1 ? el("div", { className: "choice tools", role: "group", "aria-label": "Tools to correct with" },
      ...tools.map((tool) => el("button", { type: "button", "aria-pressed": String(tool === app.tool), "data-tool": tool.name, onclick: () => {
        app.choose(tool.name);
        document.querySelector(`[data-tool=${tool.name}]`).focus();
      } }, tool.label))) : null;
    at("panel").replaceChildren(...[row, app.tool.panel(app)].filter(Boolean));
  },

  choose(name) {
    app.tool.leave?.(app);
    app.tool = TOOLS.find((tool) => tool.name === name);
    Object.assign(app.scene, { tool: name, chosenPoint: null, drawing: [] });
    const [group] = groupOf(app.tool);
    lastOf.set(group, name);
    for (const button of at("tools").children) button.setAttribute("aria-pressed", String(button.dataset.group === group));
    app.panel();
    at("panel").scrollTop = 0;
    app.chart.redraw();
    app.steps();
    app.tool.changed?.(app);
  },

  /** What undo and redo would do now: to the map, or to what the tool in hand moves. */
  steps() {
    for (const word of ["undo", "redo"]) {
      const what = app.tool.steps ? app.tool.steps()[word] : app.work?.[word];
      at(word).disabled = !what;
      at(word).title = what ? `${word}: ${what}` : "";
    }
  },

  /** The figures as the rim and the marks lie now, before the program has measured them. */
  live() {
    const { view } = app.work;
    if (view?.rim) {
      const now = app.scene.changed ? sizes(view, app.scene.ring) : app.solved;
      const more = now.area - app.solved.area;
      const { area_net: net, area_usable: usable, length: long, width: wide } = view.figures;
      const part = (figure) => area(figure.value + more, figure.u === null ? null : (figure.u * (figure.value + more)) / figure.value);
      at("net").textContent = part(net);
      at("net").dataset.mm2 = String(net.value + more);
      at("usable").textContent = part(usable);
      at("size").textContent = `${length(long.value + now.length - app.solved.length)} by ${length(wide.value + now.width - app.solved.width)}`;
    }
    app.chart.redraw();
  },

  /** One more thing that the person did. */
  give(edit) {
    app.say("");
    api.queue(app.work.id, edit);
    return app.send();
  },

  /** Bring what waits to the program, and show what it makes of it. */
  async send() {
    if (app.busy) return;
    app.busy = true;
    const { id } = app.work;
    stage("measuring");
    try {
      while (api.waiting(id).length) {
        const answer = await api.flush(id, app.work.at);
        if (answer && app.work?.id === id) {
          const more = api.waiting(id).length;
          app.work = answer;
          if (!more) show(answer);
        }
      }
    } catch (error) {
      if (app.work?.id === id) await trouble(id, error);
    } finally {
      app.busy = false;
      stage(null);
      unsaved();
    }
  },

  async step(word) {
    if (app.busy) return;
    if (app.tool.step) {
      app.tool.step(app, word);
      return;
    }
    if (!app.work?.[word]) return;
    app.busy = true;
    stage(word === "undo" ? `undoing: ${app.work.undo}` : `doing again: ${app.work.redo}`);
    try {
      show(await api.step(app.work.id, word, app.work.at));
    } catch (error) {
      await trouble(app.work.id, error);
    } finally {
      app.busy = false;
      stage(null);
    }
  },

  /** Something that takes a while: its name is shown, and a refusal said. Gives its answer, or null. */
  async wait(name, doing) {
    app.busy = true;
    stage(name);
    try {
      return await doing();
    } catch (error) {
      app.say(error.message);
      return null;
    } finally {
      app.busy = false;
      stage(null);
    }
  },

  async keep() {
    stage("saving");
    try {
      show(await api.keep(app.work.id));
      app.say(`Kept ${app.work.kept.revision}.`, true);
    } catch (error) {
      app.say(error.message);
    } finally {
      stage(null);
    }
  },

  async shelve(label) {
    stage("putting it on the shelf");
    try {
      const done = await api.shelve(app.work.id, label);
      show(await api.load(app.work.id));
      app.say(done.changed ? `On the shelf as ${done.label}.` : `It was on the shelf already, as ${done.label}.`, true);
    } catch (error) {
      app.say(error.message);
    } finally {
      stage(null);
    }
  },
};

/** An edit did not go through. */
async function trouble(id, error) {
  if (error instanceof api.Refused) {
    app.say(error.message);
    if (error.status !== 401) show(await api.load(id));
    return;
  }
  app.say("hidescan does not answer. What you did is kept in this browser and is sent when it is back.");
  setTimeout(() => app.work?.id === id && !app.busy && app.send(), 2000);
}

function unsaved() {
  const count = app.work ? api.waiting(app.work.id).length : 0;
  at("waiting").hidden = !count;
  at("waiting").textContent = count ? `${count} not sent yet` : "";
}

function stage(text) {
  at("stage").hidden = !text;
  at("stage-name").textContent = text ?? "";
}

/** Put an answer of the program on the table. */
function show(work) {
  const first = app.work?.id !== work.id || !app.scene.size;
  app.work = work;
  app.given = work.given.inputs;
  const { view } = work;
  at("name").textContent = work.label;
  document.title = `${work.label} - hidescan`;
  const keptNow = work.kept?.at === work.at;
  at("state").textContent = keptNow ? `kept ${work.kept.revision}` : work.kept ? "changed since kept" : "not kept yet";
  Object.assign(app.scene, { ring: view?.rim ? Float64Array.from(view.rim) : null, doubtful: view?.doubtful ?? [],
    zones: view?.zones ?? [], marks: view?.marks ?? [], back: view?.back ? { ...view.back } : null, hints: app.given.hints,
    gauge: app.given.gauge, changed: false, chosenPoint: null });
  if (app.scene.chosenMark >= app.scene.marks.length) app.scene.chosenMark = null;
  if (view?.photo && (first || !app.scene.size)) {
    app.scene.size = [view.photo.width, view.photo.height];
    app.chart.show(work.id, ...app.scene.size);
  }
  at("figures").hidden = !view?.rim;
  if (view?.rim) app.solved = sizes(view, app.scene.ring);
  app.live();
  app.panel();
  app.steps();
  app.tool.changed?.(app);
  document.body.dataset.at = String(work.at);
  document.body.dataset.ready = String(Boolean(view));
}

/** Open a hide and wait for its map. */
async function open(id) {
  leaf("work", "working", "");
  app.chart.clear();
  app.scene = { ...EMPTY };
  app.work = null;
  for (const part of ["figures", "scale"]) at(part).hidden = true;
  at("panel").replaceChildren();
  app.say("");
  app.tool = look;
  let work = await api.load(id);
  while (location.hash === `#${id}` && (work.stage || (!work.view && !work.refused))) {
    stage(work.stage ?? "waiting");
    at("name").textContent = work.label;
    await new Promise((go) => setTimeout(go, 120));
    work = await api.load(id);
  }
  if (location.hash !== `#${id}`) return;
  stage(null);
  show(work);
  app.choose(PROBLEMS[work.view?.problem?.code]?.opens ?? "look");
  if (work.refused) app.say(plainly(work.refused));
  unsaved();
  if (api.waiting(id).length) await app.send();
}

/** Show one of the page's leaves and hide the others. */
function leaf(id, className, name) {
  for (const main of document.querySelectorAll("main")) main.hidden = main.id !== id;
  app.work = null;
  document.body.className = className;
  document.body.dataset.ready = "false";
  at("name").textContent = name;
  document.title = name && name !== "hidescan" ? `${name} - hidescan` : "hidescan";
  app.say("");
}

async function route() {
  const wanted = location.hash.slice(1);
  stage(null);
  if (!wanted) {
    leaf("list", "listing", "hidescan");
    await refresh();
  } else if (wanted === "cards") {
    leaf("cards", "reading", "Cards");
    await showCards(app);
  } else if (wanted.startsWith("compare=")) {
    leaf("comparison", "reading", "Compare");
    await showComparison(app, wanted.slice("compare=".length).split(","));
  } else await open(wanted);
}

async function takeIn(files) {
  const rows = files.map((file) => {
    const bar = el("progress", { max: 1, value: 0 });
    bar.setAttribute("aria-label", `sending ${file.name}`);
    return el("li", {}, file.name, bar);
  });
  at("sending").replaceChildren(...rows);
  let last = null;
  for (const [i, file] of files.entries()) {
    try {
      last = await api.upload(file, (share) => (rows[i].querySelector("progress").value = share));
      rows[i].remove();
    } catch (error) {
      rows[i].replaceChildren(el("p", { className: "warning", role: "alert" }, `${file.name}: ${error.message}`));
    }
  }
  if (last && files.length === 1) location.hash = last;
  else if (!location.hash) refresh();
}

function scaleBar() {
  const { view } = app.work ?? {};
  at("scale").hidden = !view?.camera;
  if (!view?.camera) return;
  const middle = app.chart.place([at("map").clientWidth / 2, at("map").clientHeight / 2]);
  const mm = mmPerPx(view.camera, ...middle) * app.chart.resolution; // to one CSS px
  const [nice, text] = units() === "ft"
    ? [[25.4 / 4, "¼ in"], [12.7, "½ in"], [25.4, "1 in"], [76.2, "3 in"], [152.4, "6 in"], [304.8, "1 ft"], [609.6, "2 ft"], [1219.2, "4 ft"]]
      .filter(([l]) => l / mm < 120).at(-1) ?? [6.35, "¼ in"]
    : [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000].map((l) => [l, l < 1000 ? `${l} mm` : "1 m"]).filter(([l]) => l / mm < 120).at(-1) ?? [1, "1 mm"];
  at("scale").style.width = `${nice / mm}px`;
  at("scale").dataset.mm = String(nice);
  at("scale-text").textContent = text;
}

/** Another window may have changed this hide. */
async function glance() {
  if (document.hidden || !app.work || app.busy || app.scene.changed) return;
  const { id, at: was } = app.work;
  const now = await api.load(id).catch(() => null);
  if (now && app.work?.id === id && !app.busy && !app.scene.changed && now.at !== was && now.view) {
    show(now);
    app.say("This hide was changed in another window; its new state is shown.");
  }
}

function start() {
  app.chart = new Chart(at("map"), (context, frame) => {
    paint(context, frame, app.scene);
    scaleBar();
  }, {
    down: (place, tolerance) => !app.busy && app.tool.down(app, place, tolerance),
    drag: (place) => app.tool.drag(app, place),
    up: (place) => app.tool.up(app, place),
    tap: (place, tolerance) => !app.busy && app.tool.tap(app, place, tolerance),
  });
  at("tools").replaceChildren(...GROUPS.map(([name, label, tools]) => el("button", { type: "button", "aria-pressed": "false", "data-group": name,
    onclick: () => app.choose(lastOf.get(name) ?? tools[0].name) }, sign(name), el("span", {}, label))));
  startWall(app);
  at("undo").onclick = () => app.step("undo");
  at("redo").onclick = () => app.step("redo");
  at("hides").onclick = () => (location.hash = "");
  at("in").onclick = () => app.chart.zoom(1.6);
  at("out").onclick = () => app.chart.zoom(1 / 1.6);
  at("all").onclick = () => app.scene.size && app.chart.fit();
  for (const name of ["camera", "files"]) {
    at(name).onchange = (event) => {
      takeIn([...event.target.files]);
      event.target.value = "";
    };
  }
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.target.matches?.("input, select, textarea")) return;
    const key = event.key.toLowerCase();
    const word = key === "z" ? (event.shiftKey ? "redo" : "undo") : key === "y" ? "redo" : null;
    if (word && app.work) {
      event.preventDefault();
      app.step(word);
    }
  });
  const go = () => route().catch((error) => app.say(error.message));
  addEventListener("hashchange", go);
  document.addEventListener("visibilitychange", glance);
  setInterval(glance, 3000);
  loadVocabulary().then(go, (error) => app.say(error.message));
}

start();
