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
