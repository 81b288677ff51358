// A sheet can be dropped on its field; without this it is chosen as any file.
"use strict";
for (const place of document.querySelectorAll("[data-drop]")) {
  const field = place.querySelector("input[type=file]");
  for (const name of ["dragenter", "dragover"]) {
    place.addEventListener(name, (event) => { event.preventDefault(); place.classList.add("over"); });
  }
  place.addEventListener("dragleave", () => place.classList.remove("over"));
  place.addEventListener("drop", (event) => {
    event.preventDefault();
    place.classList.remove("over");
    if (event.dataTransfer.files.length) field.files = event.dataTransfer.files;
  });
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
