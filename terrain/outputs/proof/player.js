(function () {
"use strict";
const pictures = [...document.querySelectorAll(".water")];
const [when, told, go, clock, leaves, before] = ["when", "told", "go", "clock", "leaves", "before"]
  .map((id) => document.getElementById(id));
const last = pictures.length - 1;
let seen = 0, running = 0;
const at = () => Number(when.value);
function show() {
  const data = pictures[at()].dataset;
  pictures[seen].hidden = true;
  pictures[at()].hidden = false;
  seen = at();
  told.value = data.told;
  leaves.value = data.leaves;
  if (before) before.value = data.before;
  clock.setAttribute("x1", data.at);
  clock.setAttribute("x2", data.at);
  when.setAttribute("aria-valuetext", data.told);
}
function stop() {
  clearInterval(running);
  running = 0;
  go.textContent = "Play";
  go.setAttribute("aria-pressed", "false");
}
function play() {
  if (at() === last) { when.value = 0; show(); }
  go.textContent = "Stop";
  go.setAttribute("aria-pressed", "true");
  running = setInterval(() => {
    when.value = at() + 1;
    show();
    if (at() === last) stop();
  }, 120);
}
function to(place) {
  stop();
  when.value = Math.min(Math.max(place, 0), last);
  show();
}
const turn = () => (running ? stop() : play());
go.addEventListener("click", turn);
document.getElementById("back").addEventListener("click", () => to(at() - 1));
document.getElementById("on").addEventListener("click", () => to(at() + 1));
when.addEventListener("input", () => { stop(); show(); });
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const button = event.target.tagName === "BUTTON";
  if (event.key === " " && !button) { event.preventDefault(); turn(); return; }
  if (event.target === when) return;
  const places = { ArrowLeft: at() - 1, ArrowRight: at() + 1, Home: 0, End: last };
  if (event.key in places) { event.preventDefault(); to(places[event.key]); }
});
show();
})();
