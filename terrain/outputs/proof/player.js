const pictures = [...document.querySelectorAll(".water")];
const when = document.getElementById("when");
const told = document.getElementById("told");
const go = document.getElementById("go");
let running = 0;
function show() {
  const at = Number(when.value);
  pictures.forEach((picture, i) => { picture.hidden = i !== at; });
  told.value = pictures[at].dataset.told;
  when.setAttribute("aria-valuetext", pictures[at].dataset.told);
}
function stop() {
  clearInterval(running);
  running = 0;
  go.textContent = "Play";
  go.setAttribute("aria-pressed", "false");
}
function play() {
  if (Number(when.value) === pictures.length - 1) { when.value = 0; }
  go.textContent = "Stop";
  go.setAttribute("aria-pressed", "true");
  running = setInterval(() => {
    when.value = Number(when.value) + 1;
    show();
    if (Number(when.value) === pictures.length - 1) { stop(); }
  }, 120);
}
go.addEventListener("click", () => { if (running) { stop(); } else { play(); } });
when.addEventListener("input", () => { stop(); show(); });
show();
