// A metre is as long across as up, whatever shape the window has.
const w = map.inner_width, h = map.inner_height, {x_range: x, y_range: y} = map;
if (w > 0 && h > 0) {
  const before = globalThis.benchWidth;
  const per = before ? (x.end - x.start) / before : Math.max((x.end - x.start) / w, (y.end - y.start) / h);
  const mx = (x.start + x.end) / 2, my = (y.start + y.end) / 2;
  globalThis.benchWidth = w;
  x.setv({start: mx - per * w / 2, end: mx + per * w / 2});
  y.setv({start: my - per * h / 2, end: my + per * h / 2});
}
