// Shows the time that this device has, and sends it along when the button is pressed.
"use strict";
(() => {
  const form = document.querySelector("[data-clock]");
  if (!form) return;
  const word = form.querySelector("[data-time]");
  const show = () => {
    word.textContent = new Date().toLocaleString([], { dateStyle: "medium", timeStyle: "medium" });
  };
  form.addEventListener("submit", () => { form.elements.utc_ms.value = String(Date.now()); });
  form.querySelector("button").disabled = false;
  show();
  setInterval(show, 1000);
})();
