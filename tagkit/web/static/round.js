// Keying in a round: goes on by itself, says at once what can't be, and loses nothing.
"use strict";

(() => {
  const form = document.getElementById("round");
  if (!form) return;
  const key = `round:${form.dataset.tag}`;
  const readCell = document.getElementById("read-cell");
  const readValue = document.getElementById("read-value");
  const sum = document.getElementById("round-sum");
  const kept = () => [...form.elements].filter((one) => one.name && !["csrf", "once"].includes(one.name));

  // Which columns are read. A column that holds something stays in sight.
  const shows = [...document.querySelectorAll("[data-shows]")];
  function columns() {
    for (const box of shows) {
      const name = box.dataset.shows;
      const fields = form.querySelectorAll(`[data-column="${name}"]`);
      if (!box.checked && [...fields].some((one) => one.value)) box.checked = true;
      fields.forEach((one) => { one.hidden = !box.checked; });
    }
    document.getElementById("cells").dataset.columns = shows.filter((box) => box.checked).length;
  }
  shows.forEach((box) => box.addEventListener("change", () => { columns(); keep(); }));

  // What was keyed in outlives the page, until the round is recorded.
  function keep() {
    const values = {};
    for (const one of kept()) {
      if (one.type === "checkbox") { if (one.checked) values[one.name] = "yes"; }
      else if (one.value) values[one.name] = one.value;
    }
    try { localStorage.setItem(key, JSON.stringify({ values, shown: shows.filter((b) => b.checked).map((b) => b.dataset.shows) })); }
    catch { /* a browser that keeps nothing still records the round */ }
  }
  function restore() {
    let found = null;
    try { found = JSON.parse(localStorage.getItem(key)); } catch { /* nothing kept */ }
    if (!found || !Object.keys(found.values).some((name) => /-\d+$/.test(name))) return;
    if (kept().some((one) => /-\d+$/.test(one.name) && one.value && one.type !== "checkbox")) return;
    for (const one of kept()) {
      if (one.type === "checkbox") one.checked = found.values[one.name] === "yes";
      else if (found.values[one.name] !== undefined) one.value = found.values[one.name];
    }
    shows.forEach((box) => { box.checked = found.shown.includes(box.dataset.shows); });
    document.getElementById("restored").hidden = false;
  }
  document.getElementById("forget")?.addEventListener("click", () => {
    localStorage.removeItem(key);
    location.reload();
  });

  // Going on: to the next cell while only one thing is read of each, else to the next thing.
  const inputs = () => [...form.querySelectorAll(".round-line input[data-column]")].filter((one) => !one.hidden);
  function goOn(from, step) {
    const all = inputs();
    const next = all[all.indexOf(from) + step];
    if (next) { next.focus(); next.select(); }
    else if (step > 0) document.getElementById("record").focus();
  }
  function sideways(from, step) {
    const same = inputs().filter((one) => one.dataset.column === from.dataset.column);
    const next = same[same.indexOf(from) + step];
    if (next) { next.focus(); next.select(); }
  }
  const whole = {
    gravity: /^(1\d{3}|1[.,]\d{3})$/,
    volts: /^-?[0-3][.,]\d{2}$/,
    level: /^[blmo]$/i,
    temperature: /^(?!)/,
  };
  const levels = { b: "bare", l: "low", m: "at mark", o: "over" };
  form.addEventListener("input", (event) => {
    const field = event.target;
    if (field.dataset.column) {
      const text = field.value.trim();
      readBack(field, text);
      if (whole[field.dataset.column].test(text) && event.inputType !== "deleteContentBackward") {
        if (field.dataset.column === "level") { field.value = levels[text.toLowerCase()]; readBack(field, field.value); }
        goOn(field, 1);
      }
    }
    keep();
    lookSoon();
  });
  form.addEventListener("keydown", (event) => {
    if (!event.target.dataset.column) return;
    if (event.key === "Enter") { event.preventDefault(); goOn(event.target, event.shiftKey ? -1 : 1); }
    if (event.key === "ArrowDown") { event.preventDefault(); sideways(event.target, 1); }
    if (event.key === "ArrowUp") { event.preventDefault(); sideways(event.target, -1); }
  });

  // Read back large, for the person who reads out.
  function readBack(field, text) {
    const cell = field.closest("[data-cell]").dataset.cell;
    readValue.parentElement.hidden = false;
    const gravity = field.dataset.column === "gravity" && /^1\d{3}$/.test(text);
    readCell.textContent = `${readCell.dataset.word} ${cell}`;
    readValue.textContent = gravity ? `${text[0]}.${text.slice(1)}` : text || "—";
  }

  // A figure that is being keyed in is not judged before it is whole, or left.
  function unfinished(line) {
    const field = document.activeElement;
    const text = field.dataset.column && line.contains(field) ? field.value.trim() : "";
    return text !== "" && field.dataset.column !== "temperature" && !whole[field.dataset.column].test(text);
  }
  form.addEventListener("focusout", (event) => { if (event.target.dataset.column && event.target.value) lookSoon(); });

  // What the server says of it so far.
  let timer = 0;
  let asked = 0;
  function lookSoon() { clearTimeout(timer); timer = setTimeout(lookNow, 350); }
  async function lookNow() {
    const mine = ++asked;
    let told;
    try {
      const answer = await fetch(form.dataset.look, {
        method: "POST",
        body: new URLSearchParams(new FormData(form)),
        headers: { "X-CSRF": document.querySelector('meta[name="csrf"]').content },
      });
      if (!answer.ok) return;
      told = await answer.json();
    } catch { return; }
    if (mine !== asked) return;
    sum.textContent = told.summary;
    for (const line of form.querySelectorAll("[data-cell]")) {
      const says = unfinished(line) ? "" : told.says[line.dataset.cell] || "";
      const place = line.querySelector("[data-says]");
      if (place.textContent !== says) place.textContent = says;
      place.hidden = !says;
      line.querySelectorAll("input[data-column]").forEach((one) => {
        if (says && one.value) one.setAttribute("aria-invalid", "true");
        else one.removeAttribute("aria-invalid");
      });
      const confirm = line.querySelector(".says-confirm");
      if (confirm) confirm.hidden = !says;
    }
  }

  restore();
  columns();
  (inputs().find((one) => !one.value) || inputs()[0])?.focus();
  if (kept().some((one) => /-\d+$/.test(one.name) && one.value)) {
    // Asked whether it is so: straight to the first cell that is doubted.
    lookNow().then(() => {
      if ("asks" in form.dataset) form.querySelector(".says-confirm:not([hidden]) input")?.focus();
    });
  }
})();
