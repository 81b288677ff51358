// A recorded round needs not be kept in the browser any longer.
"use strict";
(() => {
  const place = document.querySelector("[data-recorded]");
  if (place) { try { localStorage.removeItem(`round:${place.dataset.recorded}`); } catch { /* nothing kept */ } }
})();
