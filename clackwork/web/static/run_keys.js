// Big keys for one reading: digits, the decimal mark, a unit to choose. Each key is handed on at once, so nothing typed
// waits for a last "OK".
"use strict";

window.runKeys = (() => {
  const byId = (id) => document.getElementById(id);
  const mark = Intl.NumberFormat(navigator.language).formatToParts(1.5).find((part) => part.type === "decimal")?.value ?? ".";
  const LONGEST = 12;
  let open = null;

  const button = (words, act, more = {}) => {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = words;
    for (const [name, value] of Object.entries(more)) made.setAttribute(name, value);
    made.addEventListener("click", act);
    return made;
  };

  // "18,5" as shown where a comma is usual; kept with a point, since on these keys the mark can only be a decimal one
  const shown = (digits) => digits.replace(".", mark);

  const show = () => {
    byId("keys-shown").textContent = `${shown(open.digits) || "\u2013"}${open.unit ? ` ${open.unit}` : ""}`;
    for (const one of byId("keys-units").children) one.setAttribute("aria-pressed", String(one.textContent === open.unit));
  };

  const set = (digits) => {
    if (digits.length > LONGEST) return;
    open.digits = digits;
    show();
    open.changed(open.digits, open.unit);
  };

  const press = (key) => {
    if (/^[0-9]$/.test(key)) set(open.digits === "0" ? key : open.digits + key);
    else if (key === "." && open.decimal && !open.digits.includes(".")) set(`${open.digits || "0"}.`);
    else if (key === ":" && open.clock && open.digits && !open.digits.endsWith(":") && !open.digits.includes(".")) set(`${open.digits}:`);
    else if (key === "back") set(open.digits.slice(0, -1));
    else if (key === "clear") set("");
  };

  const layOut = () => {
    const grid = byId("keys-grid");
    const key = (name, words = name, label = null) =>
      button(words, () => press(name), label ? { "aria-label": label } : {});
    const columns = [
      key("1"), key("2"), key("3"), key("back", "\u232b", "Rub out the last"),
      key("4"), key("5"), key("6"), key("clear", "C", "Clear"),
      key("7"), key("8"), key("9"), open.clock ? key(":", ":", "Minutes and seconds parted") : button("", () => {}, { disabled: "" }),
      open.decimal ? key(".", mark, "Decimal mark") : button("", () => {}, { disabled: "" }), key("0"),
    ];
    const next = button(open.next ? "Next" : "Done", () => close(true), { class: "main keys-next", id: "keys-next" });
    grid.replaceChildren(...columns, next);
    byId("keys-units").replaceChildren(
      ...open.units.map((unit) =>
        button(unit, () => {
          open.unit = unit;
          show();
          open.changed(open.digits, unit);
        }),
      ),
    );
  };

  const close = (onward = false) => {
    const { next } = open;
    byId("keys").close();
    if (onward && next) next();
  };

  // asked: label, digits, unit, units, decimal, clock, changed(digits, unit), next() or null
  const ask = (asked) => {
    open = { units: [], decimal: true, clock: false, next: null, ...asked };
    byId("keys-label").textContent = open.label;
    layOut();
    show();
    if (!byId("keys").open) byId("keys").showModal();
    byId("keys-next").focus();
  };

  byId("keys-close").addEventListener("click", () => close());
  byId("keys").addEventListener("click", (event) => event.target === byId("keys") && close());
  byId("keys").addEventListener("keydown", (event) => {
    const name = { Backspace: "back", Delete: "clear", ",": ".", ".": ".", ":": ":" }[event.key] ?? event.key;
    if (/^[0-9.:]$/.test(name) || name === "back" || name === "clear") {
      event.preventDefault();
      press(name);
    }
  });

  return { ask, shown, button };
})();
