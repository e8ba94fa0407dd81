// A metre is as long across as up, whatever shape the window has; until somebody moves the map, all of the site is in it.
const w = map.inner_width, h = map.inner_height, {x_range: x, y_range: y} = map;
if (w > 0 && h > 0) {
  globalThis.benchHome ??= {x: [x.start, x.end], y: [y.start, y.end]};
  const home = globalThis.benchHome, before = globalThis.benchWidth;
  const [ax, bx] = globalThis.benchTouched ? [x.start, x.end] : home.x;
  const [ay, by] = globalThis.benchTouched ? [y.start, y.end] : home.y;
  const per = globalThis.benchTouched && before ? (bx - ax) / before : Math.max((bx - ax) / w, (by - ay) / h);
  const mx = (ax + bx) / 2, my = (ay + by) / 2;
  globalThis.benchWidth = w;
  x.setv({start: mx - per * w / 2, end: mx + per * w / 2});
  y.setv({start: my - per * h / 2, end: my + per * h / 2});
}
