// Small help with elements.

/** An element; `on...` properties listen, others are set, `data-` and `aria-` ones as attributes. */
export function el(tag, properties = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name.includes("-") || name === "for" || name === "role" || name === "list") made.setAttribute(name, value);
    else made[name] = value;
  }
  made.append(...children.filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}

/** A row of buttons of which one is pressed. */
export function choice(label, options, chosen, choose) {
  return el("div", { className: "choice", role: "group", "aria-label": label },
    ...options.map(([value, text]) =>
      el("button", { type: "button", "aria-pressed": String(value === chosen), onclick: () => choose(value), "data-value": value },
        ...[text].flat())));
}

/** A labelled field. */
export function field(label, input, hint) {
  input.id ||= `f-${label.toLowerCase().replace(/[^a-z]+/g, "-")}`;
  return el("p", { className: "field" }, el("label", { for: input.id }, label), input, hint && el("small", {}, hint));
}

export function select(options, chosen, change) {
  const made = el("select", { onchange: (event) => change(event.target.value) },
    ...options.map(([value, text]) => el("option", { value, selected: value === chosen }, text)));
  return made;
}

/**
 * Ask in a dialog: a yes or no, or with `value` for a line of text. Gives true or the text, null where it was left.
 */
export function ask(text, { value, yes, danger }) {
  const dialog = document.getElementById("sure");
  const input = value === undefined ? null : el("input", { id: "sure-line", type: "text", value, maxLength: 60, autocomplete: "off" });
  dialog.replaceChildren(el("form", { method: "dialog" },
    input ? el("p", { className: "field" }, el("label", { for: "sure-line", id: "sure-text" }, text), input) : el("p", { id: "sure-text" }, text),
    el("div", { className: "row" },
      ...(input ? [] : [el("button", { value: "no", autofocus: true }, "No, leave it")]),
      el("button", { value: "yes", className: danger ? "danger" : "main" }, yes),
      input ? el("button", { type: "button", onclick: () => dialog.close("no") }, "Leave it") : null)));
  dialog.returnValue = "";
  dialog.showModal();
  input?.select();
  return new Promise((resolve) => {
    dialog.onclose = () => resolve(dialog.returnValue === "yes" ? (input ? input.value : true) : null);
  });
}
