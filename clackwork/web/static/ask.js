// The quick answer: what is typed stands in the page's address, so that a reload or a shared link has it.
"use strict";

(() => {
  const form = document.getElementById("ask");
  if (!form) return;
  const keep = () => {
    const typed = [...new FormData(form)].filter(([name, value]) => value && (name !== "lift_from" || value === "source"));
    const query = new URLSearchParams(typed).toString();
    history.replaceState(null, "", query ? `/ask?${query}` : "/ask");
  };
  form.addEventListener("input", keep);
  form.addEventListener("change", keep);

  document.addEventListener("htmx:error", (event) => {
    if (event.detail?.error?.name === "AbortError") return; // overtaken by the next question
    const said = document.createElement("p");
    said.className = "notice bad";
    said.textContent = "The server does not answer: what stands here is the last answer it gave.";
    const place = document.getElementById("answer");
    place.querySelector(".notice.lost")?.remove();
    said.classList.add("lost");
    place.prepend(said);
  });
})();
