// A click is a click, however soon it follows another and however long it is held; what is held can be dragged.
try {
  Object.assign(Bokeh.require("core/ui_gestures").UIGestures, {press_threshold: 2 ** 31 - 1, doubletap_threshold: 0});
} catch { /* another version of the library: a second click within its time is its own kind */ }
// What the keyboard does goes to the bench as a word; only the map's own keys need the map.
let count = 0;
const say = (word) => { wire.value = `${word} ${++count}`; };
const typing = (e) => { const at = e.composedPath()[0]; return at.matches?.("input:not([type=button]), textarea, select"); };
let down = null;
document.addEventListener("pointerdown", (e) => { down = [e.clientX, e.clientY]; }, true);
for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, (e) => {
  if (down && Math.hypot(e.clientX - down[0], e.clientY - down[1]) > 4) say("up");
  down = null;
}, true);
document.addEventListener("keydown", (e) => {
  const key = e.key.toLowerCase();
  if (e.ctrlKey || e.metaKey) {
    const word = key === "s" ? "save" : typing(e) ? null : key === "y" || (key === "z" && e.shiftKey) ? "redo" : key === "z" ? "undo" : null;
    if (!word) return;
    e.preventDefault();
    const at = e.composedPath()[0];
    if (typing(e)) at.blur();  // what is typed is told first
    setTimeout(() => say(word), typing(e) ? 60 : 0);
    return;
  }
  if (e.altKey || typing(e)) return;
  if (key === "escape") say("leave");
  else if (/^[1-9]$/.test(key)) say(`tool ${key}`);
  else if (document.activeElement?.id === "map") {
    const word = {arrowleft: "west", arrowright: "east", arrowup: "north", arrowdown: "south", enter: "click", "+": "nearer", "=": "nearer", "-": "further", delete: "remove"}[key];
    if (word) { e.preventDefault(); globalThis.benchTouched = true; say(e.shiftKey && key.startsWith("arrow") ? `${word} finely` : word); }
  }
});
