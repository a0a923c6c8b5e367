// Keeps what is typed in the form of a visit, or of a look at a part, on the phone, at every keystroke, until the book has it.
"use strict";

(() => {
  const KEY = "clackwork.visit.";
  const { keepAs, shownAgain, done, doneToo } = document.currentScript.dataset;

  const read = (name) => {
    try {
      return JSON.parse(localStorage.getItem(KEY + name));
    } catch (error) {
      return null;
    }
  };
  const write = (name, value) => {
    try {
      localStorage.setItem(KEY + name, JSON.stringify(value));
      return true;
    } catch (error) {
      return false;
    }
  };

  // the page of a visit that the book has: what was sent to make or change it need be kept no longer
  for (const name of [done, doneToo]) if (name && read(name)?.sent) localStorage.removeItem(KEY + name);

  const form = document.querySelector("form.form[data-arranged]");
  if (!keepAs || !form) return;

  const left = (name) => name === "form_token" || name === "version";
  const fields = () => [...form.elements].filter((one) => one.name && !left(one.name) && one.type !== "file");
  const sign = document.createElement("p");
  sign.className = "quiet small kept-sign";
  sign.setAttribute("role", "status");
  form.prepend(sign);

  const save = (sent) => {
    const values = Object.fromEntries(fields().map((one) => [one.name, one.value]));
    const kept = write(keepAs, { values, sent, at: Date.now(), version: form.elements.version?.value ?? "" });
    sign.textContent = kept ? "Kept on this device as you type." : "This device refuses to keep anything: write the readings on paper too.";
  };

  const before = read(keepAs);
  const same = before && before.version === (form.elements.version?.value ?? "");
  if (same && !shownAgain) {
    for (const one of fields()) if (one.name in before.values) one.value = before.values[one.name];
    for (const group of form.querySelectorAll("details.group")) {
      if ([...group.querySelectorAll("input, select, textarea")].some((one) => one.value && before.values[one.name])) group.open = true;
    }
    form.dispatchEvent(new Event("change"));
    const clear = document.createElement("button");
    clear.type = "button";
    clear.className = "plain-action";
    clear.textContent = "Start afresh";
    clear.addEventListener("click", () => {
      localStorage.removeItem(KEY + keepAs);
      location.reload();
    });
    sign.textContent = "What you typed before is here again. ";
    sign.append(clear);
  }
  form.addEventListener("input", () => save(false));
  form.addEventListener("change", () => save(false));
  form.addEventListener("submit", () => save(true));
})();
