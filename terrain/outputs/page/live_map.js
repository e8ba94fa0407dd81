(function () {
"use strict";
const byId = (id) => document.getElementById(id);
const live = byId("live");
if (!live) return;
const D = JSON.parse(byId("live-data").textContent);
const viewport = byId("viewport"), map = byId("map"), world = byId("world");
const slider = byId("depth");
const NS = "http://www.w3.org/2000/svg";
const made = (name, within, look) => {
  const node = document.createElementNS(NS, name);
  if (look) node.setAttribute("class", look);
  if (within) within.append(node);
  return node;
};
const volume = (said) => said + " " + D.unit;
live.hidden = false;

// The storm ------------------------------------------------------------------------------------

let state = D.start;
const firstAt = new Map();
D.stops.forEach((stop, i) => { if (!firstAt.has(stop.place)) firstAt.set(stop.place, i); });

const own = D.stops.filter((stop) => stop.storm).map((stop) => stop.place);
const ends = [Math.min(...own), Math.max(...own)];

function stormWords() {
  const stop = D.stops[state];
  return stop.depth + " over " + stop.hours;
}

function whichWords() {
  const stop = D.stops[state];
  const storm = stop.storm ? "The plan’s storm “" + stop.storm + "”" :
    !stop.place ? "No rain" : stop.place < ends[0] ? "Less than the plan’s storms" :
      stop.place > ends[1] ? "More than the plan’s storms" : "Between the plan’s storms";
  return storm + (stop.often ? "; such rain comes " + stop.often + "." : ".");
}

function showStorm() {
  const s = state;
  byId("storm-said").textContent = stormWords();
  byId("storm-which").textContent = whichWords();
  slider.value = D.stops[s].place;
  slider.setAttribute("aria-valuetext", stormWords() + (D.stops[s].storm ?
    ", " + D.stops[s].storm : "") + (D.stops[s].often ? ", " + D.stops[s].often : ""));
  live.querySelectorAll("[data-stop]").forEach((button) =>
    button.setAttribute("aria-pressed", String(Number(button.dataset.stop) === s)));
  live.querySelectorAll("[data-site]").forEach((cell) => {
    cell.textContent = volume(D.site[cell.dataset.site][s]);
  });
  [...byId("bar").children].forEach((part, i) => {
    part.style.width = D.site.shares[s][i] + "%";
  });
  live.querySelectorAll("#live-table tbody tr").forEach((row) => {
    const store = D.stores[row.dataset.i], cells = row.querySelectorAll("td");
    cells[0].textContent = store.came[s];
    cells[1].textContent = store.caught[s];
    cells[2].textContent = store.spilled[s];
    cells[3].lastChild.textContent = store.share[s];
    cells[3].querySelector(".level i").style.width = store.fill[s] * 100 + "%";
  });
  live.querySelectorAll("path.spill[data-of]").forEach((way) => {
    const flow = D.stores[way.dataset.of].flow[s];
    way.classList.toggle("none", !flow);
    way.style.strokeWidth = flow ? 1.4 + 5.6 * flow + "px" : "";
  });
  live.querySelectorAll(".place").forEach((place) =>
    place.setAttribute("aria-label", labelOf(place.dataset.kind, Number(place.dataset.i))));
  drawMarks();
  drawAnswer();
}

let telling = 0;
function tell() {  // once the slider rests, lest a screen reader is never done
  clearTimeout(telling);
  telling = setTimeout(() => {
    const site = D.site;
    byId("told").textContent = stormWords() + ". " + whichWords() + " Kept by the ground works " +
      volume(site.passive[state]) + ", by roofs and tanks " + volume(site.roof[state]) +
      ", leaves the site " + volume(site.left[state]) + ".";
  }, 400);
}

slider.addEventListener("input", () => {
  state = firstAt.get(Number(slider.value));
  showStorm();
  tell();
});
live.querySelectorAll("[data-stop]").forEach((button) => button.addEventListener("click", () => {
  state = Number(button.dataset.stop);
  showStorm();
  tell();
}));
const last = Number(slider.max) || 1;
byId("ticks").querySelectorAll("i").forEach((tick) => {
  tick.style.left = 100 * tick.dataset.place / last + "%";
});

// What a place answers ---------------------------------------------------------------------------

let pinned = null, pointed = null;

function answerOf(kind, i) {
  const s = state;
  if (kind === "store") {
    const store = D.stores[i];
    const figures = [["came", volume(store.came[s])], ["caught", volume(store.caught[s])],
      [store.leads ? "led on" : "spilled", volume(store.spilled[s])]];
    if (!store.leads) figures.push(["at its fullest", store.share[s]]);
    return { name: store.name, kind: store.kind, figures, facts: store.facts };
  }
  if (kind === "catchment") {
    const store = D.stores[i];
    return { name: (store.tank ? "Roofs of " : "Catchment of ") + store.name,
      kind: store.tank ? "roofs that fill a tank" : "ground that drains to it before any other store",
      figures: [["runs off", volume(store.ground[s])]], facts: store.catchment || [] };
  }
  if (kind === "shed") {
    const shed = D.sheds[i];
    return { name: shed.name, kind: shed.kind, figures: [["water that leaves it",
      volume(shed.leaves[s])]], facts: shed.facts };
  }
  const point = D.points[i];
  return { name: "Place " + (i + 1) + ": " + point.name, kind: "where it sheds water",
    figures: [["passes", volume(point.passes[s])]], facts: point.facts };
}

function labelOf(kind, i) {
  const answer = answerOf(kind, i);
  return answer.name + ", " + answer.kind + ". " + [...answer.figures, ...answer.facts]
    .map(([what, figure]) => what + " " + figure).join("; ") + ".";
}

function drawAnswer() {
  const shown = pointed || pinned;
  const answer = shown ? answerOf(shown.kind, shown.i) : { name: "The whole site",
    kind: "point at a place of the map, or tap it", facts: [], figures: [
      ["rain", volume(D.site.rain[state])], ["run-on", volume(D.site.run_on[state])],
      ["passive capture", volume(D.site.passive[state])],
      ["roof capture", volume(D.site.roof[state])], ["left the site", volume(D.site.left[state])]] };
  byId("answer-name").textContent = answer.name;
  byId("answer-kind").textContent = answer.kind + (shown ? "; in this storm" : "");
  const list = byId("answer-figures");
  list.textContent = "";
  const add = ([what, figure], look) => {
    for (const [tag, words] of [["dt", what], ["dd", figure]]) {
      const node = document.createElement(tag);
      node.textContent = words;
      node.className = look;
      list.append(node);
    }
  };
  answer.figures.forEach((pair) => add(pair, "storm-figure"));
  answer.facts.forEach((pair) => add(pair, ""));
  live.querySelectorAll(".shown").forEach((node) => node.classList.remove("shown"));
  discs.forEach((disc, i) => disc.classList.toggle("shown", Boolean(shown) &&
    shown.kind === "point" && shown.i === i));
  if (!shown) return;
  live.querySelectorAll(`.place[data-kind="${shown.kind}"][data-i="${shown.i}"]`).forEach((node) =>
    node.classList.add("shown"));
  if (shown.kind === "store" || shown.kind === "catchment") {
    const row = live.querySelector(`#live-table tr[data-i="${shown.i}"]`);
    if (row) row.classList.add("shown");
  }
}

const placeOf = (target) => {
  const node = target.closest && target.closest("[data-kind]");
  return node ? { kind: node.dataset.kind, i: Number(node.dataset.i) } : null;
};
let lastAt = "";
map.addEventListener("pointermove", (event) => {
  if (event.pointerType !== "mouse" || held.size) return;
  const where = event.clientX + " " + event.clientY;
  if (where === lastAt) return;  // the map moved under it
  lastAt = where;
  const place = placeOf(event.target), before = pointed;
  if (place && before && place.kind === before.kind && place.i === before.i) return;
  pointed = place;
  if (place || before) drawAnswer();
});
viewport.addEventListener("pointerleave", () => { pointed = null; drawAnswer(); });
map.addEventListener("focusin", (event) => {
  const place = placeOf(event.target);
  if (!place) return;
  pinned = place;
  pointed = null;
  if (event.target.matches(":focus-visible")) bringIn(event.target);
  drawAnswer();
});
map.addEventListener("click", (event) => {
  if (moved > 4) return;
  pinned = placeOf(event.target);
  pointed = null;
  drawAnswer();
});
live.querySelectorAll("#live-table tbody tr").forEach((row) => {
  row.addEventListener("pointerenter", () => {
    pointed = { kind: "store", i: Number(row.dataset.i) };
    drawAnswer();
  });
  row.addEventListener("pointerleave", () => { pointed = null; drawAnswer(); });
});

// Moving and zooming -----------------------------------------------------------------------------

const MOST = 16;
let zoom = 1, left = 0, top = 0, wide = 1, high = 1, fit = 1;

function scale() { return fit * zoom; }

function clamp() {
  zoom = Math.min(Math.max(zoom, 1), MOST);
  const held = (size, room, at) => size <= room ? (room - size) / 2 :
    Math.min(0, Math.max(room - size, at));
  left = held(D.wide * scale(), wide, left);
  top = held(D.high * scale(), high, top);
}

function drawView() {
  clamp();
  world.setAttribute("transform", `translate(${left} ${top}) scale(${scale()})`);
  viewport.classList.toggle("near", zoom > 1);
  byId("nearer").setAttribute("aria-disabled", String(zoom >= MOST));
  byId("farther").setAttribute("aria-disabled", String(zoom <= 1));
  drawScale();
  drawMarks();
}

function zoomBy(factor, x, y) {
  const before = scale(), to = Math.min(Math.max(zoom * factor, 1), MOST);
  const atX = x === undefined ? wide / 2 : x, atY = y === undefined ? high / 2 : y;
  zoom = to;
  left = atX - (atX - left) * scale() / before;
  top = atY - (atY - top) * scale() / before;
  drawView();
}

function moveBy(x, y) { left += x; top += y; drawView(); }

function bringIn(node) {  // a place reached by the keyboard comes into sight
  const box = node.getBoundingClientRect(), frame = viewport.getBoundingClientRect();
  const x = box.left + box.width / 2 - frame.left, y = box.top + box.height / 2 - frame.top;
  if (x < 20 || y < 20 || x > wide - 20 || y > high - 20) moveBy(wide / 2 - x, high / 2 - y);
}

function measure() {
  const ratio = Number(viewport.dataset.ratio);
  wide = viewport.clientWidth;
  if (!wide) return;
  viewport.style.height = Math.round(Math.min(wide * ratio, Math.max(window.innerHeight * 0.82,
    280))) + "px";
  high = viewport.clientHeight;
  const middle = [(wide / 2 - left) / scale(), (high / 2 - top) / scale()];
  const first = fit === 1;
  fit = Math.min(wide / D.wide, high / D.high);
  if (!first) { left = wide / 2 - middle[0] * scale(); top = high / 2 - middle[1] * scale(); }
  drawView();
}

byId("nearer").addEventListener("click", () => zoomBy(1.6));
byId("farther").addEventListener("click", () => zoomBy(1 / 1.6));
byId("whole").addEventListener("click", () => { zoom = 1; drawView(); });

viewport.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const step = Math.min(wide, high) / 6;
  const moves = { ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step],
    ArrowDown: [0, -step] };
  if (moves[event.key]) {
    if (zoom <= 1) return;  // nothing to move: the page may scroll
    moveBy(...moves[event.key]);
  } else if (event.key === "+" || event.key === "=") zoomBy(1.6);
  else if (event.key === "-" || event.key === "_") zoomBy(1 / 1.6);
  else if (event.key === "0") { zoom = 1; drawView(); }
  else if (event.key === "Escape") { pinned = pointed = null; drawAnswer(); }
  else if (event.key === "Enter" || event.key === " ") {
    if (!placeOf(event.target)) return;
    pinned = placeOf(event.target);
    drawAnswer();
  } else return;
  event.preventDefault();
});

// A scroll of the page that comes over the map goes on; one that begins there zooms.
let scrolled = 0;
window.addEventListener("wheel", (event) => {
  if (!viewport.contains(event.target)) scrolled = event.timeStamp;
}, { passive: true });
viewport.addEventListener("wheel", (event) => {
  if (event.timeStamp - scrolled < 350) { scrolled = event.timeStamp; return; }
  if (zoom <= 1 && event.deltaY > 0) return;
  event.preventDefault();
  const frame = viewport.getBoundingClientRect();
  const lines = event.deltaMode === 1 ? 33 : 1;
  zoomBy(Math.exp(-Math.max(-200, Math.min(200, event.deltaY * lines)) * 0.0025),
    event.clientX - frame.left, event.clientY - frame.top);
}, { passive: false });

const held = new Map();
let moved = 0, apart = 0;
const span = () => {
  const [a, b] = [...held.values()];
  return Math.hypot(a[0] - b[0], a[1] - b[1]);
};
viewport.addEventListener("pointerdown", (event) => {
  if (event.pointerType === "mouse" && event.button) return;
  if (!held.size) moved = 0;
  held.set(event.pointerId, [event.clientX, event.clientY]);
  if (held.size === 2) apart = span();
});
viewport.addEventListener("pointermove", (event) => {
  const from = held.get(event.pointerId);
  if (!from) return;
  const x = event.clientX - from[0], y = event.clientY - from[1];
  held.set(event.pointerId, [event.clientX, event.clientY]);
  moved += Math.hypot(x, y);
  if (moved <= 4) return;
  if (!viewport.hasPointerCapture(event.pointerId)) viewport.setPointerCapture(event.pointerId);
  viewport.classList.add("dragged");
  if (held.size === 2) {
    const frame = viewport.getBoundingClientRect(), [a, b] = [...held.values()], now = span();
    moveBy(x / 2, y / 2);
    if (apart > 0) zoomBy(now / apart, (a[0] + b[0]) / 2 - frame.left,
      (a[1] + b[1]) / 2 - frame.top);
    apart = now;
  } else moveBy(x, y);
});
for (const end of ["pointerup", "pointercancel"]) viewport.addEventListener(end, (event) => {
  held.delete(event.pointerId);
  if (!held.size) viewport.classList.remove("dragged");
});

// Signs and lettering, the same size at every zoom -------------------------------------------------

const at = (x, y) => [left + x * scale(), top + y * scale()];
const marks = [...byId("marks").children];
const arrows = [], discs = [];  // the numbers stand above all discs, the first disc on top
D.stores.forEach((store, i) => store.way.forEach((spot) => {
  arrows.push({ store: i, spot, node: made("path", byId("arrows"), "head") });
}));
marks.forEach((mark) => {
  const point = mark.dataset.kind === "point";
  made("circle", mark, "hit").setAttribute("r", 12);
  made("circle", mark, "ring");
  if (point) {
    discs[mark.dataset.i] = made("circle", null, "disc");
    byId("discs").prepend(discs[mark.dataset.i]);
    const text = made("text", mark, mark.dataset.i > 8 ? "two" : "");
    text.setAttribute("y", mark.dataset.i > 8 ? 3 : 3.6);
    text.textContent = Number(mark.dataset.i) + 1;
  } else {
    const tank = D.stores[mark.dataset.i].tank;
    made(tank ? "rect" : "circle", mark, "rim");
    made("path", mark, "water");
  }
});
const letters = D.letters.map(([x, y, words, look, group]) => {
  const leader = group >= 0 ? made("path", byId("leaders"), "leader " + look) : null;
  const node = made("text", byId("letters"), look);
  const lines = [made("tspan", node), made("tspan", node)];
  lines[0].textContent = words;
  return { x, y, words, look, group, node, lines, leader };
});

const alongAll = (chosen, apart, most) => [...live.querySelectorAll(chosen)].flatMap((path) => {
  const length = path.getTotalLength();
  const count = Math.min(Math.max(Math.ceil(length / apart), 2), most);
  return Array.from({ length: count + 1 }, (_, n) => {
    const spot = path.getPointAtLength(length * n / count);
    return [spot.x, spot.y];
  });
});
const bodies = alongAll("path.body", 7, 60), border = alongAll("#world path.boundary", 4, 2000);

function drawStore(mark, store, radius) {
  const share = store.fill[state], rim = mark.querySelector(".rim");
  const water = mark.querySelector(".water");
  if (store.tank) {
    rim.setAttribute("x", -radius); rim.setAttribute("y", -radius);
    rim.setAttribute("width", 2 * radius); rim.setAttribute("height", 2 * radius);
    rim.setAttribute("rx", 2);
    water.setAttribute("d", share > 0 ?
      `M${-radius} ${radius - 2 * radius * share}H${radius}V${radius}H${-radius}Z` : "");
  } else {
    rim.setAttribute("r", radius);
    const y = radius - 2 * radius * share, x = Math.sqrt(Math.max(radius * radius - y * y, 0));
    water.setAttribute("d", share >= 1 ?
      `M${-radius} 0A${radius} ${radius} 0 1 0 ${radius} 0A${radius} ${radius} 0 1 0 ${-radius} 0Z` :
      share > 0 ? `M${-x} ${y}A${radius} ${radius} 0 ${share > 0.5 ? 1 : 0} 0 ${x} ${y}Z` : "");
  }
}

function drawMarks() {
  const small = wide < 500 ? 0.8 : 1, taken = [], written = [], dots = [], crossed = [];
  const clash = (box, others) => others.some((other) => box[0] < other[2] && box[2] > other[0] &&
    box[1] < other[3] && box[3] > other[1]);
  const keepOff = (x, y, radius, store) => {
    if (x > -20 && y > -20 && x < wide + 20 && y < high + 20) {
      taken.push([x - radius, y - radius, x + radius, y + radius, store]);
    }
  };
  const stand = (mark, x, y, radius, reach) => {
    mark.setAttribute("transform", `translate(${x} ${y})`);
    mark.querySelector(".ring").setAttribute("r", radius + 4);
    mark.querySelector(".hit").setAttribute("r", Math.max(radius + 2, reach));
    keepOff(x, y, radius, mark.dataset.kind === "store" ? Number(mark.dataset.i) : -1);
  };
  for (const mark of marks.filter((each) => each.dataset.kind === "store")) {
    const store = D.stores[mark.dataset.i];
    const radius = small * (store.leads ? 4 : store.small ? 4.5 : 8);
    drawStore(mark, store, radius);
    stand(mark, ...at(...store.at), radius, store.small ? 8 : 12);
  }
  const frame = viewport.getBoundingClientRect();
  for (const over of [byId("scale-bar").parentNode, viewport.querySelector(".north"),
    live.querySelector(".tools")]) {
    const box = over.getBoundingClientRect();
    taken.push([box.left - frame.left - 2, box.top - frame.top - 2, box.right - frame.left + 2,
      box.bottom - frame.top + 2]);
  }
  const above = [...taken];
  for (const mark of marks.filter((each) => each.dataset.kind === "point")) {
    const i = Number(mark.dataset.i), [x, y] = at(...D.points[i].at);
    const text = mark.querySelector("text"), half = small * (i > 8 ? 5.6 : 4.2);
    const box = [x - half - 2, y - 7, x + half + 2, y + 7];
    const fits = !clash(box, written) && !clash(box, above) && !clash(box, dots);
    text.style.display = fits ? "" : "none";
    if (fits) written.push(box);
    const radius = small * Math.max(4 + 9 * D.points[i].size[state], fits ? 7.5 : 0);
    discs[i].setAttribute("r", radius);
    discs[i].setAttribute("transform", `translate(${x} ${y})`);
    dots.push([x - radius, y - radius, x + radius, y + radius]);
    stand(mark, x, y, radius, 12);
  }
  for (const { store, spot, node } of arrows) {
    const [x, y] = at(spot[0], spot[1]), flow = D.stores[store].flow[state];
    const seen = flow > 0 && spot[3] * scale() > 14;
    if (seen) crossed.push([x - 7, y - 7, x + 7, y + 7]);
    node.style.display = seen ? "" : "none";
    if (!seen) continue;
    const size = 5 + 5 * flow;
    node.setAttribute("d", `M${size} 0L${-size * 0.7} ${-size * 0.75}V${size * 0.75}Z`);
    node.setAttribute("transform", `translate(${x} ${y}) rotate(${spot[2]})`);
  }
  for (const [x, y] of bodies) {
    const spot = at(x, y);
    crossed.push([spot[0] - 4, spot[1] - 4, spot[0] + 4, spot[1] + 4]);
  }
  const edges = [];  // no lettering crosses the boundary, or only where it finds no other place
  border.forEach((spot, n) => {
    const [x, y] = at(...spot);
    if (x < -20 || y < -20 || x > wide + 20 || y > high + 20) return;
    const [u, v] = n ? at(...border[n - 1]) : [x, y];
    const steps = Math.max(Math.ceil(Math.hypot(x - u, y - v) / 8), 1);
    if (steps > 12) { edges.push([x, y, x, y]); return; }  // where another ring begins
    for (let s = 1; s <= steps; s += 1) {
      const px = u + (x - u) * s / steps, py = v + (y - v) * s / steps;
      edges.push([px - 1, py - 1, px + 1, py + 1]);
    }
  });
  for (const letter of letters) writeLetter(letter, taken, written, crossed, edges, clash);
}

const sizes = new Map();
const pen = document.createElement("canvas").getContext("2d");
const family = getComputedStyle(document.body).fontFamily;
function widthOf(words, size, bold) {
  const key = size + (bold ? "b" : "") + words;
  if (!sizes.has(key)) {
    pen.font = `${bold ? "600 " : ""}${size}px ${family}`;
    sizes.set(key, pen.measureText(words).width * 1.04);
  }
  return sizes.get(key);
}

function otherIsNearer(box, group, x, y) {  // or a name would be taken for its neighbour's
  const off = (px, py) => Math.hypot(Math.max(box[0] - px, px - box[2], 0),
    Math.max(box[1] - py, py - box[3], 0));
  const mine = new Set(D.groups[group].stores), own = off(x, y);
  return D.stores.some((store, i) => !mine.has(i) && off(...at(...store.at)) < own);
}

// A leader's way as small boxes, off its own mark and off its lettering.
function wayOf(x, y, box) {
  const near = (low, high, value) => Math.min(Math.max(value, low), high);
  const u = near(box[0], box[2], x), v = near(box[1], box[3], y), far = Math.hypot(u - x, v - y);
  const found = [];
  for (let d = 13; d < far - 3; d += 4) {
    const px = x + (u - x) * d / far, py = y + (v - y) * d / far;
    found.push([px - 1, py - 1, px + 1, py + 1]);
  }
  return found;
}

function writeLetter(letter, taken, written, crossed, edges, clash) {
  const { node, lines, look, group, leader } = letter;
  const main = group >= 0, narrow = window.matchMedia("(max-width:40rem)").matches;
  const size = narrow ? 11 : main ? 12 : look === "level" ? 10 : 11;
  const second = main && !D.stores[D.groups[group].stores[0]].leads ?
    volume(D.groups[group].caught[state]) + " caught" : "";
  const [x, y] = at(letter.x, letter.y);
  let placed = null, words = second, led = false;
  const mine = new Set(main ? D.groups[group].stores : []);
  const others = taken.filter((box) => !mine.has(box[4]));
  const all = crossed.concat(edges), ways = [[second, all, false], ["", all, false]];
  if (main) {  // the leader keeps off other marks and off lettering, as long as it can
    ways.push([second, all, true, true], ["", all, true, true], ["", edges, true, true],
      ["", edges, true], ["", [], true]);
  } else if (look !== "level") ways.push(["", edges, false]);
  for (const [under, off, far, plain] of ways) {
    const across = Math.max(widthOf(letter.words, size, main), widthOf(under || "", size, main));
    const tall = size * 1.2 * (under ? 2 : 1), gap = main ? 12 : 3;
    const about = (off) => [[off, -tall / 2], [-off - across, -tall / 2],
      [-across / 2, -off - tall], [-across / 2, off], [off, -off - tall], [off, off],
      [-off - across, -off - tall], [-off - across, off]];
    const spots = look === "level" ? [[-across / 2, -tall / 2]] : far ?
      [...about(26), ...about(40), ...about(58)] : about(gap);
    for (const [dx, dy] of spots) {
      const box = [x + dx - 2, y + dy - 1, x + dx + across + 2, y + dy + tall + 1];
      if (box[0] < 2 || box[1] < 2 || box[2] > wide - 2 || box[3] > high - 2) continue;
      if (clash(box, taken) || clash(box, written) || clash(box, off)) continue;
      if (main && !far && otherIsNearer(box, group, x, y)) continue;
      if (plain && wayOf(x, y, box).some((spot) => clash(spot, others) ||
        clash(spot, written) || clash(spot, edges))) continue;
      placed = box; words = under; led = far;
      break;
    }
    if (placed) break;
  }
  node.style.display = placed ? "" : "none";
  if (leader) leader.style.display = placed && led ? "" : "none";
  if (!placed) return;
  if (led) {
    const near = (low, high, value) => Math.min(Math.max(value, low), high);
    leader.setAttribute("d",
      `M${x} ${y}L${near(placed[0], placed[2], x)} ${near(placed[1], placed[3], y)}`);
    written.push(...wayOf(x, y, placed));
  }
  written.push(placed);
  lines[1].textContent = words;
  lines.forEach((line, n) => {
    line.setAttribute("x", placed[0] + 2);
    line.setAttribute("y", placed[1] + size * (0.98 + 1.2 * n));
  });
}

function drawScale() {
  const metres = D.metres / scale(), room = Math.min(wide * 0.3, 150);
  let unit = D.us ? 0.3048 : 1, name = D.us ? "ft" : "m";
  if (D.us && room * metres > 1609.344) { unit = 1609.344; name = "mi"; }
  if (!D.us && room * metres > 1000) { unit = 1000; name = "km"; }
  const most = room * metres / unit, power = Math.pow(10, Math.floor(Math.log10(most)));
  const round = [5, 2, 1].map((n) => n * power).find((n) => n <= most * (1 + 1e-9)) || power;
  byId("scale-bar").style.width = round * unit / metres + "px";
  byId("scale-said").textContent = Number(round.toPrecision(3)) + " " + name;
}

// Wide tables can be scrolled by the keyboard ----------------------------------------------------

function scrollers() {
  document.querySelectorAll(".scroll").forEach((box) => {
    const wider = box.scrollWidth > box.clientWidth + 1;
    if (wider) box.tabIndex = 0; else box.removeAttribute("tabindex");
  });
}

measure();
showStorm();
scrollers();
new ResizeObserver(() => { measure(); scrollers(); }).observe(live);
document.addEventListener("toggle", scrollers, true);
})();
