// What every page does: the form token on each request, fields that belong to a choice, a question before what is lost.
"use strict";

(() => {
  const meta = (name) => document.querySelector(`meta[name="${name}"]`)?.content ?? "";

  document.addEventListener("htmx:config:request", (event) => {
    event.detail.ctx.request.headers[meta("form-token-header")] = meta("form-token");
  });

  const nameOf = (field) => field.dataset.onlyFor;
  const shows = (form, field) => {
    const control = form.elements.namedItem(nameOf(field));
    return !control || JSON.parse(field.dataset.onlyValues).includes(control.value);
  };
  const arrange = (form) => {
    for (const field of form.querySelectorAll("[data-only-for]")) field.hidden = !shows(form, field);
    for (const group of form.querySelectorAll("details.group")) {
      group.hidden = [...group.querySelectorAll(".field")].every((field) => field.hidden);
    }
  };
  for (const form of document.querySelectorAll("form[data-arranged]")) {
    arrange(form);
    form.addEventListener("change", () => arrange(form));
  }

  document.addEventListener("submit", (event) => {
    const question = event.submitter?.dataset.question ?? event.target.dataset.question;
    if (question && !window.confirm(question)) {
      event.preventDefault();
      return;
    }
    if (event.target.method !== "post") return;
    // a second tap on a slow network must not send a form twice; the server would know it by its number anyway
    if (event.target.dataset.sent) event.preventDefault();
    event.target.dataset.sent = "yes";
  });
  window.addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
  });

  // a table wider than the screen is scrolled by the keyboard as well
  for (const box of document.querySelectorAll(".scroll")) if (box.scrollWidth > box.clientWidth) box.tabIndex = 0;

  const wrong = document.querySelector("[aria-invalid='true']");
  wrong?.focus();
  (wrong ?? document.querySelector(".notice.bad"))?.scrollIntoView({ block: "center" });
})();
