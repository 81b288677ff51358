// What every page shares. No page asks another host for anything; without this file every page
// still works, only less smoothly.
"use strict";

(() => {
  // Seconds that this device's clock is ahead of the server's, so that countdowns are the server's.
  const meta = document.querySelector('meta[name="now"]');
  const ahead = meta ? Date.now() - Number(meta.content) * 1000 : 0;
  const serverNow = () => Date.now() - ahead;

  // <time data-until="ISO" data-over="ready">: hours and minutes left, by the server's clock;
  // data-left="ready in …": the sentence that says them.
  function left(element) {
    const seconds = Math.round((Date.parse(element.dataset.until) - serverNow()) / 1000);
    if (Number.isNaN(seconds)) return;
    if (seconds <= 0) {
      element.textContent = element.dataset.over || "0:00";
      element.classList.add("over");
      return;
    }
    const hours = Math.floor(seconds / 3600);
    const minutes = Math.floor((seconds % 3600) / 60);
    const said = hours
      ? `${hours} h ${minutes} min`
      : minutes ? `${minutes} min ${seconds % 60} s` : `${seconds} s`;
    element.textContent = element.dataset.left?.replace("…", said) ?? said;
  }
  const tick = () => document.querySelectorAll("[data-until]").forEach(left);
  tick();
  setInterval(tick, 1000);
  document.addEventListener("htmx:afterSwap", tick);

  // A form is sent once, however often it is pressed; "back" gives it free again.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.method !== "post" || event.defaultPrevented) return;
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "1";
    form.setAttribute("aria-busy", "true");
  });
  window.addEventListener("pageshow", () => {
    document.querySelectorAll("form[data-sent]").forEach((form) => {
      delete form.dataset.sent;
      form.removeAttribute("aria-busy");
    });
  });

  // Fields that only help to choose send their form at once: <select data-go>.
  document.addEventListener("change", (event) => {
    if (event.target.matches("[data-go]")) event.target.form.requestSubmit();
  });

  // <p data-live="…" data-lost="…">: whether this page still follows the record.
  const follows = (name) => document.querySelectorAll("[data-live]").forEach((element) => {
    element.textContent = element.dataset[name];
    element.classList.toggle("lost", name === "lost");
  });
  document.addEventListener("htmx:sseOpen", () => follows("live"));
  document.addEventListener("htmx:sseError", () => follows("lost"));

  // <button data-print>
  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-print]")) window.print();
  });

  // A press that reached nobody is said, not swallowed.
  const lost = document.getElementById("lost");
  if (lost) {
    document.addEventListener("htmx:sendError", () => { lost.hidden = false; });
    document.addEventListener("htmx:afterRequest", (event) => {
      if (event.detail.successful) lost.hidden = true;
    });
  }
})();
