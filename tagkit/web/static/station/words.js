// Sentences in the visitor's language, from the page.
export function word(key) {
  return document.querySelector(`#words [data-word="${key}"]`)?.textContent ?? "";
}
