// A link to a place that is folded away unfolds it; paper shows all.
(function () {
"use strict";
const unfold = (node) => {
  for (let at = node; at; at = at.parentElement) if (at.tagName === "DETAILS") at.open = true;
};
const reach = (hash) => {
  const node = hash.length > 1 && document.getElementById(decodeURIComponent(hash.slice(1)));
  if (node) unfold(node);
};
document.addEventListener("click", (event) => {
  const link = event.target.closest && event.target.closest('a[href^="#"]');
  if (link) reach(link.hash);
});
addEventListener("hashchange", () => reach(location.hash));
reach(location.hash);
let opened = [];
addEventListener("beforeprint", () => {
  opened = [...document.querySelectorAll("details:not([open])")];
  opened.forEach((one) => { one.open = true; });
});
addEventListener("afterprint", () => opened.forEach((one) => { one.open = false; }));
})();
