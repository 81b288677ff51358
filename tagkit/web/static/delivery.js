// A sheet can be dropped on its field; without this it is chosen as any file.
"use strict";
for (const place of document.querySelectorAll("[data-drop]")) {
  const field = place.querySelector("input[type=file]");
  // A file that is too large is told before it is sent.
  const measure = () => {
    const large = [...field.files].some((file) => file.size > Number(field.dataset.most));
    field.setCustomValidity(large ? field.dataset.tooLarge : "");
    if (large) field.reportValidity();
  };
  field.addEventListener("change", measure);
  for (const name of ["dragenter", "dragover"]) {
    place.addEventListener(name, (event) => { event.preventDefault(); place.classList.add("over"); });
  }
  place.addEventListener("dragleave", () => place.classList.remove("over"));
  place.addEventListener("drop", (event) => {
    event.preventDefault();
    place.classList.remove("over");
    if (event.dataTransfer.files.length) { field.files = event.dataTransfer.files; measure(); }
  });
}

// On a phone what is wrong is read first; the rest of the row is a press away.
if (matchMedia("(max-width: 44rem)").matches) {
  for (const drawer of document.querySelectorAll("details[data-narrow-closed]")) drawer.open = false;
}

// All or none of the assets in a list.
for (const key of document.querySelectorAll("[data-tick]")) {
  key.hidden = false;
  key.addEventListener("click", () => {
    for (const box of key.closest("fieldset").querySelectorAll("input[type=checkbox]")) {
      box.checked = key.dataset.tick === "all";
    }
  });
}
