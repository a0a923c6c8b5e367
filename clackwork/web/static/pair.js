// The code may come with the address, behind the #, which browsers never send.
"use strict";

(() => {
  const digits = new URLSearchParams(window.location.hash.slice(1)).get("code");
  const field = document.querySelector("input[name='code']");
  if (digits && field && !field.value) {
    field.value = digits;
    window.history.replaceState(null, "", window.location.pathname);
    document.querySelector("input[name='name']")?.focus();
  }
})();
